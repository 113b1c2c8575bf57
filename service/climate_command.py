"""`suntally climate`: a typical year's file in, the [climate] table of a site file out.

Standard output holds the table alone, to be put into the site file; what follows from it stands on
standard error.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from service.progress import Progress
from service.report_files import DONE, bytes_of, in_plain_words, say, site_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "file", metavar="FILE", help="typical year (EPW, TMY3 layout, PVGIS) or hourly weather"
    )
    parser.add_argument("site", metavar="SITE.toml", help="the site file: its place is checked")


def run(args: argparse.Namespace) -> int:
    """Write the table; give the exit status."""
    return in_plain_words("climate", lambda progress: _run(args, progress))


def _run(args: argparse.Namespace, progress: Progress) -> int:
    from analysis.design.promise import METHOD, computed_of
    from analysis.design.typical_year import parse_climate
    from analysis.sitefile_write import climate_to_toml

    site = site_of(args.site)
    progress.say("Reading the year")
    climate = parse_climate(Path(args.file).name, bytes_of(args.file), site=site)
    progress.clear()
    say(climate_to_toml(climate))
    computed = computed_of(replace(site, climate=climate))
    if computed is not None:
        year = sum(computed.monthly_kwh)
        sys.stderr.write(f"With this table {METHOD} promises {year:.0f} kWh a year.\n")
    return DONE
