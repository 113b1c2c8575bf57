"""What a request leaves to be done once its answer is sent, so that nobody waits for it."""

from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from service.asgi import App, Receive, Scope, Send

_STATE = "suntally.afterwards"


class Afterwards:
    """Does in a thread, in turn, what `after_the_answer` was given."""

    def __init__(self, app: App) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, then do what it left."""
        left: list[Callable[[], object]] = []
        scope[_STATE] = left
        await self.app(scope, receive, send)
        for work in left:
            await run_in_threadpool(work)


def after_the_answer(request: Request, work: Callable[[], object]) -> None:
    """Have something done when the answer is sent; it is to catch its own errors."""
    request.scope[_STATE].append(work)
