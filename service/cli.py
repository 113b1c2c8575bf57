"""The command `suntally`; what a subcommand needs is imported when it runs."""

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn


class _Parser(argparse.ArgumentParser):
    """Says in one line what is wrong with a command; its commands do so, too."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; `{self.prog} --help` tells how it is used\n")


if TYPE_CHECKING:
    # argparse names the class of `add_subparsers` with an underscore.
    _Commands = argparse._SubParsersAction[_Parser]


def process() -> int:
    """Run the command as a process of its own, which ends with it; gives its exit status."""
    try:
        return main()
    finally:
        # Else all that was imported is searched for garbage once more: a tenth of a report.
        gc.freeze()


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; gives its exit status."""
    parser = _parser()
    args = parser.parse_args(argv)
    if not hasattr(args, "run"):
        parser.print_help()
        return 2
    # The matrices here are small: threads of the linear algebra would only wait for each other.
    # It reads this when numpy is imported, here and in the processes that are started.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        return int(args.run(args))
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        sys.stderr.close()  # the reader of the output has gone; there is nobody to tell
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="suntally",
        description="Watches over installed solar thermal systems: heat delivered, faults, and "
        "which roof to visit.",
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    for add in (
        _add_report,
        _add_read,
        _add_climate,
        _add_serve,
        _add_work,
        _add_fleet,
        _add_digest,
        _add_export,
        _add_password,
        _add_firm,
        _add_bundle,
        _add_verify,
        _add_backup,
        _add_restore,
        _add_check,
        _add_retention,
        _add_demo,
    ):
        add(commands)
    return parser


def _add_report(commands: "_Commands") -> None:
    from service.report_command import add_arguments

    command = commands.add_parser(
        "report", help="analyse logs of one site and print what they show"
    )
    add_arguments(command)
    command.set_defaults(run=_report)


def _report(args: argparse.Namespace) -> int:
    from service.report_command import run

    return run(args)


def _add_read(commands: "_Commands") -> None:
    from service.read_command import add_arguments

    command = commands.add_parser("read", help="show what logs hold, and propose a map for them")
    add_arguments(command)
    command.set_defaults(run=_read)


def _read(args: argparse.Namespace) -> int:
    from service.read_command import run

    return run(args)


def _add_climate(commands: "_Commands") -> None:
    from service.climate_command import add_arguments

    command = commands.add_parser(
        "climate", help="write the [climate] table of a site file from a typical year"
    )
    add_arguments(command)
    command.set_defaults(run=_climate)


def _climate(args: argparse.Namespace) -> int:
    from service.climate_command import run

    return run(args)


def _add_serve(commands: "_Commands") -> None:
    command = commands.add_parser("serve", help="serve the pages and do the work behind them")
    _add_places(command)
    command.add_argument("--host", help="address to listen on (default 127.0.0.1)")
    command.add_argument("--port", type=int, help="port to listen on (default 8321)")
    command.add_argument(
        "--web-only", action="store_true", help="without a worker; run `suntally work` beside it"
    )
    command.set_defaults(run=_serve)


def _serve(args: argparse.Namespace) -> int:
    from service.serve import serve

    return serve(args)


def _add_work(commands: "_Commands") -> None:
    command = commands.add_parser("work", help="run a worker alone: read, analyse, mail")
    _add_places(command)
    command.set_defaults(run=_work)


def _work(args: argparse.Namespace) -> int:
    from service.serve import work

    return work(args)


def _add_fleet(commands: "_Commands") -> None:
    from service.jobs.command import add_arguments

    command = commands.add_parser("fleet", help="how far the analyses of all sites are; do them")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_fleet)


def _fleet(args: argparse.Namespace) -> int:
    from service.jobs.command import run

    return run(args)


def _add_digest(commands: "_Commands") -> None:
    from service.digests.command import add_arguments

    command = commands.add_parser("digest", help="show a week's digest without sending it")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_digest)


def _digest(args: argparse.Namespace) -> int:
    from service.digests.command import run

    return run(args)


def _add_export(commands: "_Commands") -> None:
    from service.exports.command import add_arguments

    command = commands.add_parser("export", help="write a site's data into a file")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_export)


def _export(args: argparse.Namespace) -> int:
    from service.exports.command import run

    return run(args)


def _add_password(commands: "_Commands") -> None:
    from service.accounts.command import add_arguments

    command = commands.add_parser("password", help="set the password that the pages ask for")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_password)


def _password(args: argparse.Namespace) -> int:
    from service.accounts.command import run

    return run(args)


def _add_firm(commands: "_Commands") -> None:
    from service.accounts.firm_command import add_arguments

    command = commands.add_parser("firm", help="make another firm on this server")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_firm)


def _firm(args: argparse.Namespace) -> int:
    from service.accounts.firm_command import run

    return run(args)


def _add_bundle(commands: "_Commands") -> None:
    from service.evidence.command import add_bundle_arguments

    command = commands.add_parser(
        "bundle", help="write logs, records and report of a site into one signed file"
    )
    _add_places(command)
    add_bundle_arguments(command)
    command.set_defaults(run=_bundle)


def _bundle(args: argparse.Namespace) -> int:
    from service.evidence.command import run_bundle

    return run_bundle(args)


def _add_verify(commands: "_Commands") -> None:
    from service.evidence.command import add_verify_arguments

    command = commands.add_parser("verify", help="check that such a file is as it was made")
    add_verify_arguments(command)
    command.set_defaults(run=_verify)


def _verify(args: argparse.Namespace) -> int:
    from service.evidence.command import run_verify

    return run_verify(args)


def _add_backup(commands: "_Commands") -> None:
    from service.backups.command import add_backup_arguments

    command = commands.add_parser(
        "backup", help="write everything that is kept into one file, while the service runs"
    )
    _add_places(command)
    add_backup_arguments(command)
    command.set_defaults(run=_backup)


def _backup(args: argparse.Namespace) -> int:
    from service.backups.command import run_backup

    return run_backup(args)


def _add_restore(commands: "_Commands") -> None:
    from service.backups.command import add_restore_arguments

    command = commands.add_parser("restore", help="put a backup into an empty place")
    _add_places(command)
    add_restore_arguments(command)
    command.set_defaults(run=_restore)


def _restore(args: argparse.Namespace) -> int:
    from service.backups.command import run_restore

    return run_restore(args)


def _add_check(commands: "_Commands") -> None:
    from service.operation.command import add_arguments

    command = commands.add_parser("check", help="look the installation over: what is to be mended")
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_check)


def _check(args: argparse.Namespace) -> int:
    from service.operation.command import run

    return run(args)


def _add_retention(commands: "_Commands") -> None:
    from service.retention.command import add_arguments

    command = commands.add_parser(
        "retention", help="what becomes of old rows and files, and doing it now"
    )
    _add_places(command)
    add_arguments(command)
    command.set_defaults(run=_retention)


def _retention(args: argparse.Namespace) -> int:
    from service.retention.command import run

    return run(args)


def _add_demo(commands: "_Commands") -> None:
    from service.demo import add_arguments

    command = commands.add_parser("demo", help="make an invented fleet, load it and serve it")
    add_arguments(command)
    command.set_defaults(run=_demo)


def _demo(args: argparse.Namespace) -> int:
    from service.demo import run

    return run(args)


def _add_places(command: argparse.ArgumentParser) -> None:
    command.add_argument("--data-dir", help="folder of database and raw logs")
    command.add_argument("--database-url", help="PostgreSQL instead of SQLite in the data folder")


if __name__ == "__main__":
    sys.exit(process())
