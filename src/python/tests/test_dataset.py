"""`Dataset`: the frames and the table of `dataset make`, item by item, in any order, thread or process."""

from __future__ import annotations

import csv
import multiprocessing
import pickle
import threading
import tomllib
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import TINY, Program

import skewstar

RECIPE = {
    "format": 1,
    "title": "doughnuts for a test",
    "licence": "CC0-1.0",
    "seed": 8,
    "scenario": tomllib.loads(TINY),
    "set": {"state.modes_nm.5": 4.0},
    "vary": {
        "state.turns": {"turns": {"sigma_turns": 0.1, "correlation": -0.5}, "within": 0.5},
        "state.sensor_offset_um": {"uniform": [40.0, 80.0]},
    },
}


def made(program: Program, recipe: Path, first: int, count: int, *more: object) -> tuple[np.ndarray, list[dict[str, str]]]:
    """Frames and rows of the truth table that the program writes."""
    program.run("dataset", "make", recipe, "--start", first, "--count", count, "--out", "set", "--quiet", *more)
    frames = [np.load(path)["frames"] for path in sorted(Path("set").glob("*.npz"))]
    folder = Path("withheld") if Path("withheld").exists() else Path("set")
    rows = []
    for path in sorted(folder.glob("*.truth.csv")):
        with path.open(newline="") as file:
            rows += list(csv.DictReader(file))
    return np.concatenate(frames), rows


def same_row(truth: dict[str, Any], row: dict[str, str]) -> bool:
    """Whether a truth is a row of the table: the same columns in the same order, each number to its last digit."""
    if list(truth) != list(row):
        return False
    for name, value in truth.items():
        text = row[name]
        if value is None:
            same = text == ""
        elif isinstance(value, str):
            same = text == value
        else:
            same = text != "" and type(value)(text) == value
        if not same:
            return False
    return True


@pytest.mark.parametrize(("recipe", "portable"), [("doughnuts", False), ("masked-stars", False), ("doughnuts", True)])
def test_items_are_those_of_dataset_make(program: Program, scenarios: Path, recipe: str, portable: bool) -> None:
    path = scenarios / "recipes" / f"{recipe}.toml"
    frames, rows = made(program, path, 5, 3, *(["--portable"] if portable else []))
    ds = skewstar.Dataset(path, 3, start=5, portable=portable)
    assert len(ds) == 3 and ds.shape == frames.shape[1:] and list(ds.columns) == list(rows[0])
    for number in (2, 0, 1):
        frame, truth = ds[number]
        assert frame.dtype == np.uint16 and frame.tobytes() == frames[number].tobytes()
        assert same_row(truth, rows[number]), (truth, rows[number])
        assert truth["item"] == 5 + number and isinstance(truth["item"], int)
    # the loop that makes items ahead gives the same
    looped = list(ds)
    assert [frame.tobytes() for frame, _ in looped] == [frame.tobytes() for frame in frames]
    assert all(same_row(truth, row) for (_, truth), row in zip(looped, rows, strict=True))


def test_a_sealed_set_needs_its_secret(program: Program, scenarios: Path) -> None:
    path = scenarios / "recipes" / "doughnuts.toml"
    frames, rows = made(program, path, 0, 2, "--secret", "secret.txt", "--truth-out", "withheld")
    ds = skewstar.Dataset(path, 2, secret="secret.txt")
    assert [frame.tobytes() for frame, _ in ds] == [frame.tobytes() for frame in frames]
    assert all(same_row(truth, row) for (_, truth), row in zip(ds, rows, strict=True))
    assert skewstar.Dataset(path, 1)[0][0].tobytes() != frames[0].tobytes()
    Path("secret.txt").write_text("12345\n")
    with pytest.raises(skewstar.Error) as refused:
        skewstar.Dataset(path, 2, secret="secret.txt")
    told = program.run("dataset", "make", path, "--count", 2, "--out", "n", "--secret", "secret.txt", "--truth-out", "w", status=2)
    assert told.stderr == f"error: {refused.value}\n"


def test_numbers_are_those_of_lists() -> None:
    ds = skewstar.Dataset(RECIPE, 4, start=10)
    plain = [10, 11, 12, 13]
    for index in range(-4, 4):
        assert ds[index][1]["item"] == plain[index]
    assert ds[np.int64(1)][1]["item"] == 11
    for index in (4, -5, 10**12):
        with pytest.raises(IndexError):
            ds[index]
    with pytest.raises(TypeError):
        ds["1"]  # type: ignore[index]
    assert [truth["item"] for _, truth in ds] == plain
    empty = skewstar.Dataset(RECIPE, 0)
    assert len(empty) == 0 and list(empty) == []
    with pytest.raises(IndexError):
        empty[0]


def test_a_loop_may_be_left() -> None:
    ds = skewstar.Dataset(RECIPE, 1_000_000_000)
    for number, (_, truth) in enumerate(ds):
        assert truth["item"] == number
        if number == 3:
            break
    assert ds[-1][1]["item"] == 999_999_999


def test_it_can_be_pickled(tmp_path: Path, scenarios: Path) -> None:
    for recipe in (RECIPE, scenarios / "recipes" / "doughnuts.toml"):
        ds = skewstar.Dataset(recipe, 3, start=2, portable=True)
        again = pickle.loads(pickle.dumps(ds))
        assert len(again) == 3 and again.shape == ds.shape and repr(again) == repr(ds)
        (frame, truth), (frame_again, truth_again) = ds[1], again[1]
        assert np.array_equal(frame, frame_again) and truth == truth_again


_DS: skewstar.Dataset | None = None


def _keep(ds: skewstar.Dataset) -> None:
    global _DS
    _DS = ds


def _loaded(index: int) -> tuple[bytes, dict[str, Any]]:
    assert _DS is not None
    frame, truth = _DS[index]
    return frame.tobytes(), truth


@pytest.mark.parametrize("start_method", ["fork", "spawn", "forkserver"])
def test_four_loader_processes_make_what_one_makes(start_method: str) -> None:
    ds = skewstar.Dataset(RECIPE, 12)
    # the threads of this process are at work before it is forked
    expected = [(frame.tobytes(), truth) for frame, truth in ds]
    context = multiprocessing.get_context(start_method)
    with ProcessPoolExecutor(4, mp_context=context, initializer=_keep, initargs=(ds,)) as pool:
        found = list(pool.map(_loaded, range(12)))
    assert found == expected


def test_threads_make_what_one_makes() -> None:
    ds = skewstar.Dataset(RECIPE, 8)
    found: dict[int, bytes] = {}

    def load(index: int) -> None:
        found[index] = ds[index][0].tobytes()

    threads = [threading.Thread(target=load, args=(index,)) for index in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [found[index] for index in range(8)] == [frame.tobytes() for frame, _ in ds]


def test_what_cannot_be_made_is_said_in_the_programs_words(program: Program, tmp_path: Path) -> None:
    with pytest.raises(skewstar.Error) as refused:
        skewstar.Dataset("no-recipe.toml", 1)
    told = program.run("dataset", "make", "no-recipe.toml", "--count", 1, status=2)
    assert told.stderr == f"error: {refused.value}\n" and refused.value.hint
    with pytest.raises(skewstar.Error, match="did you mean"):
        skewstar.Dataset({**RECIPE, "vari": {}}, 1)
    for count, start in ((-1, 0), (1, -1), (10**10, 0)):
        with pytest.raises(skewstar.Error, match="must be from 0 to"):
            skewstar.Dataset(RECIPE, count, start)
    # a law that leads to what the scenario does not allow, when the item is asked for
    wild = {**RECIPE, "vary": {"sky.seeing_arcsec": {"uniform": [-2.0, -1.0]}}}
    with pytest.raises(skewstar.Error, match="item 3: .*sky.seeing_arcsec"):
        skewstar.Dataset(wild, 9)[3]
