"""Hundreds of parts on processes and on a dask cluster, a worker killed in the middle: complete, identical, counted once."""

from __future__ import annotations

import os
import signal
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import pytest
from dask.distributed import Client, LocalCluster
from tests.services.many_parts import LAYER_NM, task, write_parts

from vatwright import wiring
from vatwright.errors import InputError
from vatwright.records.part import PartUse
from vatwright.services.study_many import study_many

COUNT = 240


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    return write_parts(tmp_path_factory.mktemp("parts"), COUNT)


@pytest.fixture(scope="module")
def alone(parts, tmp_path_factory):
    """The same by one thread of this process: what every other executor is held against."""
    cache, log = (tmp_path_factory.mktemp(name) for name in ("cache-alone", "log-alone"))
    with ThreadPoolExecutor(1) as executor:
        return study_many(parts, task(cache, log), executor)


def counts(log):
    """How often each part was studied anew, and in how many processes."""
    names = [p.name.split(".") for p in log.iterdir()]
    return Counter(n[0] for n in names if n[1] == "new"), {n[2] for n in names}


class KillAt:
    """Progress that kills a process when so many parts are done."""

    def __init__(self, at, pid):
        self.at, self.pid, self.killed = at, pid, False

    def __call__(self, what, done, total):
        if done >= self.at and not self.killed:
            self.killed = True
            os.kill(self.pid(), signal.SIGKILL)


def digests(found):
    return [(p.part, p.digest, p.mistakes) for p in found.parts]


def test_a_cluster_that_loses_a_worker_ends_complete_and_identical(parts, alone, tmp_path):
    cache, log = tmp_path / "cache", tmp_path / "log"
    log.mkdir()
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
    ):
        kill = KillAt(COUNT // 3, lambda: next(iter(client.run(os.getpid).values())))
        found = study_many(parts, task(cache, log), client.get_executor(pure=False), progress=kill)
    assert kill.killed
    assert digests(found) == digests(alone)
    new, processes = counts(log)
    assert set(new) <= {f"box-{k:05d}" for k in range(COUNT)}
    # What one worker was doing when it died may be done again, nothing else.
    assert sum(n - 1 for n in new.values()) <= 1
    # On a busy machine all may be done before the worker in place of the killed one is up.
    assert 2 <= len(processes) <= 3
    assert sum(1 for _ in cache.glob("*.study")) == COUNT


def test_processes_that_lose_one_go_on_in_new_ones(parts, alone, tmp_path):
    cache, log = tmp_path / "cache", tmp_path / "log"
    log.mkdir()
    pools = []

    def pool():
        pools.append(ProcessPoolExecutor(2, mp_context=get_context("spawn")))
        return pools[-1]

    kill = KillAt(COUNT // 2, lambda: next(iter(pools[-1]._processes)))
    try:
        found = study_many(parts, task(cache, log), pool(), renew=pool, progress=kill)
    finally:
        for each in pools:
            each.shutdown()
    assert kill.killed
    assert found.again >= 1
    assert digests(found) == digests(alone)
    new, _ = counts(log)
    # The whole pool breaks with its worker: the other one's part, too, may be done again.
    assert sum(n - 1 for n in new.values()) <= 2


def test_a_run_that_was_stopped_is_taken_up(parts, alone, tmp_path):
    cache, log = tmp_path / "cache", tmp_path / "log"
    log.mkdir()

    def stop(what, done, total):
        if done >= 50:
            raise KeyboardInterrupt

    with ThreadPoolExecutor(2) as executor, pytest.raises(KeyboardInterrupt):
        study_many(parts, task(cache, log), executor, progress=stop)
    before = sum(1 for _ in cache.glob("*.study"))
    assert before >= 50
    with ThreadPoolExecutor(2) as executor:
        found = study_many(parts, task(cache, log), executor)
    assert found.new == COUNT - before
    assert digests(found) == digests(alone)


def test_a_part_that_cannot_be_used_is_told_and_the_rest_is_done(parts, tmp_path):
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"no mesh at all")
    asked = [*parts[:3], PartUse(name="broken", file=str(broken), unit="mm")]
    with ThreadPoolExecutor(1) as executor:
        found = study_many(asked, task(tmp_path / "cache", tmp_path), executor)
    assert [p.part for p in found.refused] == ["broken"]
    assert found.refused[0].mistakes
    assert found.new == 3


def test_like_files_are_studied_once_through_the_front_door(parts, alone, tmp_path, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", str(tmp_path / "cache"))
    found = wiring.study_files_many([*parts[:4], *parts[:4]], layer_nm=LAYER_NM, workers=1)
    assert digests(found) == digests(alone)[:4]
    assert found.new == 4


def test_without_a_place_to_keep_studies_it_says_so(parts, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", "")
    with pytest.raises(InputError, match="VATWRIGHT_CACHE"):
        wiring.study_files_many(parts, layer_nm=LAYER_NM)


def test_a_cluster_that_is_not_there_is_told(parts, tmp_path, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", str(tmp_path))
    with pytest.raises(InputError, match="no dask scheduler"):
        wiring.study_files_many(parts, layer_nm=LAYER_NM, dask="nowhere")
