"""The user is told once what is waited for while code is compiled, and never where nothing is."""

from __future__ import annotations

import numba
import pytest

from clicktimer.cli.waiting import PREPARING, compiling_is_told


def test_compiling_is_told_once_and_only_while_it_happens(capsys: pytest.CaptureFixture[str]):
    first, second = numba.njit(lambda x: x + 1), numba.njit(lambda x: x + 2)
    with compiling_is_told():
        assert (first(1), second(1)) == (2, 3)
    printed = capsys.readouterr()
    assert printed.err.splitlines() == [PREPARING]
    assert printed.out == ""
    with compiling_is_told():
        first(1)  # compiled already
    assert capsys.readouterr().err == ""
    numba.njit(lambda x: x + 3)(1)  # outside: nobody is told
    assert capsys.readouterr().err == ""
