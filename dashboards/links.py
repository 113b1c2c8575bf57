"""Addresses of pages, and the key by which a finding is found again."""

from urllib.parse import quote

from analysis.results import Finding, Report, iso, seconds
from analysis.season import same_within_s


def finding_key(finding: Finding) -> str:
    """Name a finding by kind, start and channel: `lost_circulation-20250503T0810`."""
    stamp = iso(finding.start_s)[:16].replace("-", "").replace(":", "")
    channel = f"-{finding.channel}" if finding.channel else ""
    return f"{finding.kind}-{stamp}{channel}"


def finding_of_key(report: Report, key: str) -> Finding | None:
    """Find the finding of a key; one of the same kind nearby where its start has moved."""
    everything = (*report.findings, *report.explained)
    for finding in everything:
        if finding_key(finding) == key:
            return finding
    kind, _, rest = key.partition("-")
    stamp, _, channel = rest.partition("-")
    start_s = _seconds_of(stamp)
    if start_s is None:
        return None
    near = [
        finding
        for finding in everything
        if finding.kind == kind
        and (finding.channel or "") == channel
        and abs(finding.start_s - start_s) < same_within_s(kind)
    ]
    return min(near, key=lambda finding: abs(finding.start_s - start_s), default=None)


def _seconds_of(stamp: str) -> int | None:
    if len(stamp) != 13:
        return None
    try:
        return seconds(
            f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]}T{stamp[9:11]}:{stamp[11:13]}:00Z",
        )
    except ValueError:
        return None


def site_path(slug: str) -> str:
    """Give the address of a site's page."""
    return f"/sites/{quote(slug, safe='')}"


def finding_path(slug: str, finding: Finding) -> str:
    """Give the address of a finding's page."""
    return f"{site_path(slug)}/findings/{quote(finding_key(finding), safe='')}"
