"""The README.txt of a bundle: what is in it, how to check it, what that proves and what not."""

from datetime import date

from dashboards.format import day

_EVIDENCE = """{name}: evidence bundle
{rule}

What a solar thermal system logged, what was found in it and what was done, as kept by Suntally.
Records are as of {as_of}, the last day of the log.

  site.toml                   the facts of the plant that all figures rest on
  site-files/, site-files.csv the facts as they were before, who replaced them and when
  logs/, logs.csv             the controller's logs as they came, and what became of each
  rows/                       rows that a gateway sent by itself (they never were a file), by months
  rolled-days.csv             UTC days that are kept as five-minute means only, or removed
  records/commissioning.csv   how the plant went into service
  records/changes.csv         tubes, parts and settings that were changed
  records/terms.csv           terms of the warranty: kept, not kept or not known, and why
  records/hot-years.csv       hours that the collector stood above 120, 150 and 170 C, by years
  records/visits.csv          visits on record; visit-entries.csv: everything that was typed there
  records/findings.json       what was found in the logs
  records/steps.csv           what people did about it
  report.txt, report.json     the whole report, to read and for programs

Left out: whether and when nobody used hot water. That says when a house stood empty and is nobody
else's business. Left out, too: photos of visits, which show a home. The logs themselves are whole
and can show when a house stood empty; hand them on only as far as needed.
"""

_EVERYTHING = """{name}: everything that is held
{rule}

All that Suntally holds about this installation and the people it belongs to, in open formats.
Records are as of {as_of}, the last day of the log.

  site.toml                   the facts of the plant
  site-files/, site-files.csv the facts as they were before, who replaced them and when
  logs/, logs.csv             the controller's logs as they came, and what became of each
  rows/                       rows that a gateway sent by itself, by months
  rolled-days.csv             UTC days that are kept as five-minute means only, or removed
  days.csv, months.csv        the figures
  report.txt, report.json     the whole report, to read and for programs
  records/                    papers, changes, visits, findings, what was done about them, consents,
                              links, gateway keys, mails, letters, and who did what to this plant
  photos/                     photos of visits
  weather/, weather.csv       weather files of the place

Not in it: passwords and keys, of which only fingerprints are kept; mails that name other
customers, too (that they went out is listed); photos and papers kept elsewhere than in Suntally.
"""

_CHECK = """
How to check it
---------------
  suntally verify BUNDLE.zip --key KEY      with the key that the firm gave you on another way
  sha256sum -c CHECKSUMS                    in the unpacked folder; any computer can do that

CHECKSUMS holds the SHA-256 of each file. SIGNATURE.json signs the SHA-256 of CHECKSUMS (the root)
and of the zip with the key of the server that made the bundle (Ed25519).

What that shows: no file was altered, added, taken out, renamed or put in another order since that
server made the bundle. Whoever holds the root hash or the key from another way than this file can
be sure which server that was.

What it does not show: that the logger measured right; that nothing was left out or written
differently before the bundle was made; when it was made, beyond what that server's clock said.
Whoever runs the server holds its key.
"""


def readme(name: str, *, as_of: date, everything: bool) -> str:
    """Write it; the same state gives the same text."""
    head = _EVERYTHING if everything else _EVIDENCE
    return (head + _CHECK).format(name=name, rule="=" * len(name), as_of=day(as_of))
