"""From an invented plant to its report and its truth: what benches and acceptance tests share."""

from fixtures.bench.examining import POOR, Examined, examine, examined, record_of

__all__ = ["POOR", "Examined", "examine", "examined", "record_of"]
