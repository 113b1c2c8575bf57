"""Kill the real server at random instants of an upload of 200 files; prints what is stored then.

    python -m tests.bench.upload_kills [INSTANTS] [SEED]

Each round: `suntally serve` in a fresh folder, 200 files over HTTP one after another, SIGKILL to
the whole process group (web process and worker) at an instant drawn over the length of an
undisturbed run; then a restart, the same 200 files again, and a byte-by-byte comparison of
uploads, blocks, layers, channels and day rows with an undisturbed run.
"""

import random
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

from service.db.engine import Database
from service.settings import Settings
from tests.build_service import site_file
from tests.crash.many_files import small_logs, stored
from tests.crash.test_serve import Server, wait_for

LOGS = small_logs()


def send_all(server: Server, sent: list[int]) -> None:
    for name, text in LOGS:
        server.call("POST", f"/api/sites/mill-lane-4/logs?name={name}", text.encode())
        sent.append(1)


def settle(server: Server) -> None:
    wait_for(
        lambda: server.call("GET", "/api/sites/mill-lane-4/uploads")["pending"] is None,
        patience_s=300,
    )


def contents(folder: Path) -> dict[str, object]:
    database = Database(Settings(data_dir=folder).url)
    try:
        return stored(database)
    finally:
        database.close()


def undisturbed(folder: Path) -> tuple[dict[str, object], float]:
    server = Server(folder)
    server.start()
    server.call("POST", "/api/sites", site_file().encode())
    start = time.monotonic()
    send_all(server, [])
    settle(server)
    length_s = time.monotonic() - start
    server.stop()
    return contents(folder), length_s


def killed(folder: Path, after_s: float) -> tuple[dict[str, object], int]:
    server = Server(folder)
    server.start()
    server.call("POST", "/api/sites", site_file().encode())
    sent: list[int] = []

    def send() -> None:
        try:
            send_all(server, sent)
        except OSError:
            return

    sender = threading.Thread(target=send)
    sender.start()
    time.sleep(after_s)
    server.kill()
    sender.join()
    answered = len(sent)
    server.start()
    send_all(server, [])
    settle(server)
    server.stop()
    return contents(folder), answered


def main() -> None:
    instants = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    draw = random.Random(seed)
    outcome: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as base:
        whole, length_s = undisturbed(Path(base) / "whole")
        print(f"undisturbed: {length_s:.1f} s, {len(whole['blocks'])} day blocks")
        for number in range(instants):
            after_s = draw.uniform(0.0, length_s)
            found, answered = killed(Path(base) / str(number), after_s)
            same = [name for name in whole if found[name] == whole[name]]
            equal = len(same) == len(whole)
            outcome["equal" if equal else "DIFFERENT"] += 1
            note = "" if equal else f" {sorted(set(whole) - set(same))}"
            print(
                f"{number + 1:3}: killed after {after_s:5.1f} s, {answered:3} answered:",
                f"{'equal' if equal else 'DIFFERENT'}{note}",
                flush=True,
            )
    print(f"seed {seed}: {dict(outcome)} of {instants}")


if __name__ == "__main__":
    main()
