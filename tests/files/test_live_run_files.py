"""Runs that go on, as files: what was tapped is there again, half a line does not count."""

from __future__ import annotations

from vatwright.files.live_run_files import LiveRunFiles
from vatwright.records.live_run import DueVisit, LiveRun, RunPlan, Tap, TapKind
from vatwright.services.run_now import with_tap


def test_there_again_after_the_power_went(tmp_path):
    plan = RunPlan(
        job="j", machine="m", recipe="r", resin="s", setting="body.settle_s", label="settle", start_s=3.1,
        rest_s=(0.1, 10.0), needed_s=(1.0, 2.0), visits=(DueVisit(key="v1", layer=1, value_s=2.0),), by_hand=True,
    )  # fmt: skip
    files, run = LiveRunFiles(tmp_path / "runs"), LiveRun(id="a", made_s=1.0, plan=plan)
    files.put(run)
    run = with_tap(run, Tap(id="1", kind=TapKind.STARTED, at_s=5.5), now_s=5.5)
    files.add(run)
    with (tmp_path / "runs" / "a.run.jsonl").open("ab") as file:
        file.write(b'{"tap": {"id": "2", "ki')
    (tmp_path / "runs" / "b.run.jsonl").write_text("no run")
    assert LiveRunFiles(tmp_path / "runs").all() == [run]
    ended = with_tap(run, Tap(id="3", kind=TapKind.ENDED, at_s=9.0), now_s=9.0)
    files.add(ended)
    assert LiveRunFiles(tmp_path / "runs").all() == [ended]
