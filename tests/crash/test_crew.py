"""Analyses in several processes and on a cluster: bit for bit what one worker makes alone."""

import multiprocessing
import os
import signal
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Future, ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func, select
from sqlalchemy.exc import OperationalError

from service.cli import main
from service.db.models import Claim, DayMark, Site
from service.ingest.queries import mark_everything
from service.jobs import chunks, helper, queries
from service.jobs.crew import Crew
from service.jobs.fleet import run_fleet
from service.jobs.run import Worker, look_of
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log
from tests.crash.test_two_workers import reports

SITES = 3


@pytest.fixture(scope="module")
def back(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BackEnd]:
    with back_ends(tmp_path_factory.mktemp("crew")) as make:
        back = make()
        for number in range(SITES):
            back.hand_in(back.add_site(f"Site {number}"), tidy_log(hours=72, seed=number))
        back.worker().work_all()
        yield back


@pytest.fixture(scope="module")
def alone(back: BackEnd) -> dict[int, object]:
    return reports(back)


def crew_worker(back: BackEnd, **given: object) -> Worker:
    settings = back.settings.model_copy(update=given)
    return Worker(settings=settings, database=back.database, clock=back.clock, crew=Crew(settings))


def forget_all(back: BackEnd) -> None:
    """Have every day of every site analysed again."""
    with back.database.session() as db:
        for site_id in db.scalars(select(Site.id)):
            mark_everything(db, site_id=site_id, due_at=back.clock.now())


def left_behind(back: BackEnd) -> tuple[int, int]:
    with back.database.reading() as db:
        count = [db.scalar(select(func.count()).select_from(one)) for one in (Claim, DayMark)]
    return count[0] or 0, count[1] or 0


def test_processes_make_what_one_worker_makes_though_one_is_killed(
    back: BackEnd, alone: dict[int, object]
) -> None:
    worker = crew_worker(back, analysis_processes=2)
    forget_all(back)
    try:
        assert worker.work_once()
        helper = multiprocessing.active_children()[0]
        helper.kill()
        helper.join()
        worker.work_all()
        assert reports(back) == alone
        assert left_behind(back) == (0, 0)
    finally:
        worker.stop()


@pytest.mark.filterwarnings("ignore")  # the library's own
def test_a_cluster_makes_what_one_worker_makes_though_one_is_killed(
    back: BackEnd, alone: dict[int, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed", reason="no Dask: no cluster was tested")
    monkeypatch.setenv("SUNTALLY_DATA_DIR", str(back.settings.data_dir))
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        worker = crew_worker(back, dask_address=cluster.scheduler_address)
        forget_all(back)
        try:
            assert worker.work_once()
            os.kill(next(iter(client.run(os.getpid).values())), signal.SIGKILL)
            worker.work_all()
            assert reports(back) == alone
            assert left_behind(back) == (0, 0)
        finally:
            worker.stop()


def test_a_helper_of_another_version_changes_nothing_and_the_site_says_why(
    back: BackEnd, alone: dict[int, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    worker = crew_worker(back, analysis_processes=2)
    monkeypatch.setattr(Crew, "_here", lambda _self: ThreadPoolExecutor(1))
    monkeypatch.setattr(helper, "_given", [back.settings])
    look = look_of(back.settings, now=back.clock.now())
    forget_all(back)
    with monkeypatch.context() as patched:
        patched.setattr("analysis.assess.METHOD", "another")
        patched.setattr(Worker, "_look", lambda _self: look)
        worker.work_all()
    assert reports(back) == alone
    with back.database.reading() as db:
        assert all("this helper has method another" in (one or "") for one in problems(db))
        assert queries.progress(db, look=look).resting == SITES
    back.clock.move(minutes=2)
    back.worker().work_all()
    with back.database.reading() as db:
        assert problems(db) == [None] * SITES


@pytest.fixture
def here(back: BackEnd, monkeypatch: pytest.MonkeyPatch) -> Iterator[Worker]:
    """Give a worker whose helper is a thread, all sites due, and one chunk for each look."""
    monkeypatch.setattr(Crew, "_here", lambda _self: ThreadPoolExecutor(1))
    monkeypatch.setattr(helper, "_given", [back.settings])
    monkeypatch.setattr(chunks, "sizes", lambda waiting, **_given: [waiting] if waiting else [])
    forget_all(back)
    worker = crew_worker(back, analysis_processes=2)
    yield worker
    worker.stop()


def test_a_site_that_fails_does_not_take_its_chunk_mates_along_and_goes_alone_next(
    back: BackEnd, alone: dict[int, object], here: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    fails, assess, sizes = min(alone), helper.assess_site, []
    analyse = helper.analyse

    def assess_or_fail(*args: object, site_id: int, **given: object) -> None:
        if site_id == fails:
            raise ZeroDivisionError("invented")
        assess(*args, site_id=site_id, **given)

    def counted(chunk: list[helper.Analysis]) -> list[helper.Ended]:
        sizes.append(len(chunk))
        return analyse(chunk)

    monkeypatch.setattr("service.jobs.crew.analyse", counted)
    with monkeypatch.context() as patched:
        patched.setattr(helper, "assess_site", assess_or_fail)
        here.work_all()
    with back.database.reading() as db:
        assert sorted(filter(None, problems(db))) == [
            "It could not be assessed (ZeroDivisionError: invented); it is tried again by itself, "
            "and the server's log says more."
        ]
        assert queries.progress(db, look=here._look()).resting == 1
    back.clock.move(minutes=2)
    forget_all(back)
    here.work_all()
    assert sizes == [SITES, 1, SITES - 1]
    with back.database.reading() as db:
        assert problems(db) == [None] * SITES
    assert left_behind(back) == (0, 0)


def test_a_chunk_that_takes_long_leaves_the_rest_to_the_next(
    back: BackEnd, here: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(helper, "_CHUNK_S", 0.0)
    given = here._chunks(1, helpers=1)
    assert [len(chunk) for chunk in given] == [SITES]
    look = here._look()
    ended = helper.analyse([here._analysis(task, look) for task in given[0]])
    assert [one.state for one in ended] == ["done", *["left"] * (SITES - 1)]
    here._give_back(given[0])
    here.work_all()
    assert left_behind(back) == (0, 0)


def test_what_others_did_since_the_look_is_passed_over_and_what_came_since_is_done(
    back: BackEnd, here: Worker
) -> None:
    """Here they have another worker of the same database between the look and the claim."""
    alone = back.worker()
    assert alone._lookouts["assess"].waiting(SITES) == SITES
    here.work_all()
    assert alone._take("assess", most=1) == []
    forget_all(back)
    assert alone._lookouts["assess"].waiting(SITES) == SITES
    here.work_all()
    forget_all(back)  # after its look, in which the same sites stand
    assert alone.work_all() == SITES
    assert left_behind(back) == (0, 0)


def test_what_a_lost_helper_did_stays_done_when_its_chunk_is_given_to_another(
    back: BackEnd, here: Worker
) -> None:
    (tasks,) = here._chunks(1, helpers=1)
    look = here._look()
    chunk = [here._analysis(task, look) for task in tasks]
    assert [one.state for one in helper.analyse(chunk[:2])] == ["done", "done"]
    assert [one.state for one in helper.analyse(chunk)] == ["gone", "gone", "done"]
    assert left_behind(back) == (0, 0)


def test_what_cannot_be_noted_falls_free_by_its_lease(
    back: BackEnd, here: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_args: object, **_given: object) -> None:
        raise OperationalError("SELECT", {}, Exception("server closed the connection"))

    half_s = back.settings.worker_lease_s / 2
    with monkeypatch.context() as patched:
        patched.setattr(helper, "assess_site", away)
        patched.setattr(Worker, "_note_failure", away)
        with pytest.raises(OperationalError):
            here.work_all()
    back.clock.move(seconds=half_s)
    here.beat()
    back.clock.move(seconds=half_s)
    here.work_all()
    assert left_behind(back) == (0, 0)


def test_what_was_lost_goes_alone_and_no_more_of_it_than_there_is_room_for(
    back: BackEnd, here: Worker
) -> None:
    (tasks,) = here._chunks(1, helpers=1)
    here._lost(tasks)
    waiting = here._chunks(2, helpers=1)
    assert [len(chunk) for chunk in waiting] == [1, 1, 1]
    here._give_out(waiting, here.crew, most=2)
    assert [task.key for (task,) in here._out.values()] == [task.key for task in tasks[:2]]
    with back.database.reading() as db:
        put_back = db.get_one(Claim, tasks[2].key)
    assert (put_back.tries, put_back.holder) == (1, "")
    here.work_all()
    assert left_behind(back) == (0, 0)


def test_what_was_out_when_a_pool_broke_goes_out_with_nothing_beside_it(
    back: BackEnd, here: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    start, started = Crew.start, []

    def seen(self: Crew, chunk: list[helper.Analysis]) -> Future[list[helper.Ended]]:
        started.append((len(chunk), len(here._out)))
        return start(self, chunk)

    (tasks,) = here._chunks(1, helpers=1)
    broken: Future[list[helper.Ended]] = Future()
    broken.set_exception(BrokenExecutor())
    here._finished(tasks, broken, here.crew)
    monkeypatch.setattr(Crew, "start", seen)
    here.work_all()
    assert started == [(1, 0)] * SITES
    forget_all(back)
    here.work_all()
    assert started[SITES:] == [(SITES, 0)]
    assert left_behind(back) == (0, 0)


def test_helpers_that_were_lost_while_nothing_was_out_end_no_run(
    back: BackEnd, here: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    start, lost = Crew.start, [True]

    def lost_once(self: Crew, chunk: list[helper.Analysis]) -> Future[list[helper.Ended]]:
        if lost:
            lost.clear()
            raise BrokenExecutor
        return start(self, chunk)

    monkeypatch.setattr(Crew, "start", lost_once)
    here.work_all()
    assert left_behind(back) == (0, 0)


def test_a_site_that_was_done_is_not_said_to_have_failed(back: BackEnd, here: Worker) -> None:
    (tasks,) = here._chunks(1, helpers=1)
    look = here._look()
    helper.analyse([here._analysis(tasks[0], look)])
    future: Future[list[helper.Ended]] = Future()
    future.set_exception(ZeroDivisionError("invented"))
    here._finished(tasks, future, here.crew)
    with back.database.reading() as db:
        failed = list(db.scalars(select(Site.id).where(Site.problem.is_not(None))))
    assert sorted(failed) == [task.site_id for task in tasks[1:]]
    back.clock.move(minutes=2)
    here.work_all()
    assert left_behind(back) == (0, 0)


def test_chunks_grow_shorter_towards_the_end_and_leave_nobody_out() -> None:
    waiting, given = 100, []
    while size := chunks.sizes(waiting, chunks=1, helpers=2):
        given += size
        waiting -= size[0]
    assert sum(given) == 100
    assert given == sorted(given, reverse=True)
    assert (given[0], given[-6:]) == (8, [1] * 6)
    assert chunks.sizes(100, chunks=3, helpers=2) == given[:3]
    assert chunks.sizes(chunks.most_to_count(helpers=2), chunks=1, helpers=2) == [8]


def problems(db) -> list[str | None]:
    return list(db.scalars(select(Site.problem)))


def test_old_reports_wait_while_somebody_pauses_them_and_new_rows_do_not(back: BackEnd) -> None:
    back.clock.move(days=1)
    with back.database.session() as db:
        queries.pause(db, who="owner", now=back.clock.now())
        queries.pause(db, who="another", now=back.clock.now())
    assert not back.worker().work_once()
    look = look_of(back.settings, now=back.clock.now())
    with back.database.reading() as db:
        progress = queries.progress(db, look=look)
    assert (progress.sites, progress.waiting, progress.lately) == (SITES, SITES, 0)
    assert (progress.paused_by, progress.minutes_left) == ("owner", None)
    with back.database.session() as db:
        (first, *_) = db.scalars(select(Site.id))
        mark_everything(db, site_id=first, due_at=back.clock.now())
    assert back.worker().work_all() == 1
    with back.database.session() as db:
        queries.resume(db)
    assert back.worker().work_all() == SITES - 1
    with back.database.reading() as db:
        progress = queries.progress(db, look=look)
    assert (progress.waiting, progress.lately, progress.minutes_left) == (0, SITES, 0.0)
    assert progress.paused_since is None


def test_the_page_has_old_reports_wait_and_go_on_and_is_the_operators_only(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    back.clock.move(days=1)
    with TestClient(back.app(), base_url=LOCAL) as client:
        shown = client.post("/operation/pause").text
        assert "this machine has old reports wait since 22" in shown
        assert f'<td>{SITES}</td></tr>\n<tr><th scope="row">Waiting</th><td>{SITES}' in shown
        assert not back.worker().work_once()
        assert "old reports wait since" not in client.post("/operation/resume").text
        with monkeypatch.context() as patched:
            patched.setattr("service.pages.operation.first_firm", lambda _db: None)
            assert client.post("/operation/pause").status_code == 403
            assert client.get("/operation").status_code == 403
    assert back.worker().work_all() == SITES


def test_the_fleet_command_does_what_is_due_and_says_how_far_it_is(
    back: BackEnd, alone: dict[int, object], capsys: pytest.CaptureFixture[str]
) -> None:
    told: list[str] = []
    assert run_fleet(back.settings, back.database, back.clock, again=True, say=told.append) == 0
    assert told[-1].startswith(f"0 of {SITES} sites wait; 0 at work; 0 failed")
    days = {site_id: rows for site_id, (_, rows) in reports(back).items()}
    assert days == {site_id: rows for site_id, (_, rows) in alone.items()}
    places = ("--data-dir", str(back.settings.data_dir))
    assert main(["fleet", "pause", *places]) == 0
    assert "(the command line)" in capsys.readouterr().out
    assert main(["fleet", "resume", *places]) == 0
    assert "old reports wait" not in capsys.readouterr().out


def test_a_cluster_that_does_not_answer_is_said_and_the_claims_fall_free(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.jobs.crew import NoCrewError

    def nobody(_self: Crew) -> None:
        raise NoCrewError("no Dask cluster answers")

    monkeypatch.setattr(Crew, "_on_cluster", nobody)
    worker = crew_worker(back, dask_address="tcp://127.0.0.1:9")
    forget_all(back)
    with pytest.raises(NoCrewError):
        worker.work_once()
    assert left_behind(back)[0] == 0
    back.worker().work_all()
