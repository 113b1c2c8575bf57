"""What is a household's own affair, and never on a page or in a mail that others see.

That nobody draws hot water says that a house stands empty. It is told to whoever looks at the data
on their own machine (text report, JSON, the page of a service without sign-in), and to nobody else.
"""

from dataclasses import replace

from analysis.results import Report

PRIVATE_KINDS = frozenset({"no_draw"})


def shareable(report: Report) -> Report:
    """Give the report without what is private: findings, explained ones and verdicts."""
    return replace(
        report,
        findings=tuple(item for item in report.findings if item.kind not in PRIVATE_KINDS),
        explained=tuple(item for item in report.explained if item.kind not in PRIVATE_KINDS),
        verdicts=tuple(item for item in report.verdicts if item.kind not in PRIVATE_KINDS),
    )
