"""Codes and their weights: each count by two ways that share nothing, and by trial."""

from __future__ import annotations

import multiprocessing
import signal
import sys
import threading
import time
from collections.abc import Callable
from itertools import combinations
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import (
    _workers as workers,
)
from safeframe._errors import UsageError
from safeframe.residual import (
    CheckPart,
    Code,
    Effort,
    Weights,
    contiguous,
    powers,
    stacked,
    weights,
)
from safeframe.residual import (
    _fields as fields,
)
from safeframe.residual import (
    _slices as slices,
)
from safeframe.residual import (
    _spectrum as spectrum,
)
from safeframe.residual import (
    _walker as walker,
)
from safeframe.residual import (
    _windows as windows,
)

from .. import residual_oracles as oracle

PLAIN = Effort(numpy=False)


@st.composite
def columns(draw: st.DrawFn) -> tuple[int, list[int]]:
    width = draw(st.integers(1, 8))
    size = draw(st.integers(1, 18))
    return width, draw(st.lists(st.integers(0, (1 << width) - 1), min_size=size, max_size=size))


class TestPlainCodes:
    """Whatever the columns, the counts must be those of every pattern that adds up to zero."""

    @given(columns())
    def test_counts_equal_those_by_syndrome(self, drawn: tuple[int, list[int]]) -> None:
        width, own = drawn
        found = weights(Code(parts=(CheckPart(width=width, own=tuple(own)),)), PLAIN)
        assert list(found.counts) == oracle.by_syndrome(own)
        assert found.rank == len(slices.reduced(own, width))

    @given(columns())
    def test_dual_and_code_lead_to_the_same_counts(self, drawn: tuple[int, list[int]]) -> None:
        width, own = drawn
        rows = slices.reduced(own, width)
        dual = slices.histogram(rows, len(own))
        code = slices.histogram(slices.kernel(rows, len(own)), len(own))
        assert spectrum.from_dual(dual, len(rows), len(own)) == code
        assert oracle.macwilliams(dual, len(rows)) == code

    @given(columns())
    def test_every_kernel_word_passes_every_row(self, drawn: tuple[int, list[int]]) -> None:
        width, own = drawn
        rows = slices.reduced(own, width)
        words = slices.kernel(rows, len(own))
        assert len(words) == len(own) - len(rows)
        assert all((row & word).bit_count() % 2 == 0 for row in rows for word in words)


@st.composite
def shared_codes(draw: st.DrawFn) -> Code:
    shared = draw(st.integers(0, 3))
    parts = []
    for _ in range(draw(st.integers(1, 2))):
        width = draw(st.integers(1, 4))
        column = st.integers(0, (1 << width) - 1)
        parts.append(
            CheckPart(
                width=width,
                own=tuple(draw(st.lists(column, min_size=1, max_size=5))),
                shared=tuple(draw(st.lists(column, min_size=shared, max_size=shared))),
                copies=draw(st.integers(1, 2)),
                times=draw(st.integers(1, 2)),
            )
        )
    return Code(parts=tuple(parts), shared_bits=shared)


class TestCombinedCodes:
    """Shared bits, copies and repeated parts must count as one code with all their columns."""

    @given(shared_codes())
    def test_counts_equal_those_of_the_stacked_columns(self, code: Code) -> None:
        instances = [part for part in code.parts for _ in range(part.times)]
        rows = [[part.shared[bit] for part in instances] for bit in range(code.shared_bits)]
        copies = [1] * code.shared_bits
        for place, part in enumerate(instances):
            for column in part.own:
                rows.append([column if place == at else 0 for at in range(len(instances))])
                copies.append(part.copies)
        joint = [sum(value << 4 * at for at, value in enumerate(row)) for row in rows]
        found = weights(code, PLAIN)
        assert list(found.counts) == oracle.by_syndrome(joint, copies)
        assert found.bits == sum(copies)


@pytest.mark.parametrize(
    ("generator", "bits"),
    [(0x139B7, 32), (0x139B7, 104), (0x11021, 301), (0x1755B, 257), (0x15935, 300), (0x12F, 90)],
)
def test_slices_equal_a_stepped_register(generator: int, bits: int) -> None:
    degree = generator.bit_length() - 1
    rows = slices.reduced(powers(generator, range(bits)), degree)
    assert slices.histogram(rows, bits) == oracle.by_register(generator, bits)


def test_long_codes_use_smaller_slices_with_the_same_counts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows = slices.reduced(powers(0x139B7, range(60)), 16)
    whole = slices.histogram(rows, 60)
    monkeypatch.setattr(slices, "_MOST_PATTERN_BITS", 60 << 11)
    assert slices.histogram(rows, 60) == whole
    monkeypatch.setattr(slices, "_MOST_PATTERN_BITS", 1)
    assert slices.histogram(rows, 60) == whole


@pytest.mark.parametrize("bits", [40, 53, 104, 400, 401, 2047])
@pytest.mark.parametrize(
    "generator",
    [0x139B7, 0x11021, 0x1021D, 0x17BF, 0x1000087],
    ids=["primitive", "even", "several orbits", "12 bits", "24 bits"],
)
def test_windows_equal_slices(generator: int, bits: int) -> None:
    way = windows.plan(generator)
    assert way is not None
    (walked,) = windows.histograms(way, [bits])
    total = [a + b for a, b in zip(walked, spectrum.remainder(way, bits), strict=True)]
    degree = generator.bit_length() - 1
    if degree <= 16:
        assert total == oracle.by_register(generator, bits)
    elif bits <= 104:
        assert total == slices.histogram(
            slices.reduced(powers(generator, range(bits)), degree), bits
        )
    assert sum(total) == 1 << degree


def test_numbers_of_64_bits_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """They are for windows of millions of bits, which no test can wait for."""
    way = windows.plan(0x11021)
    assert way is not None
    narrow = windows.histograms(way, [40, 123, 400])
    monkeypatch.setattr(walker, "_NARROW_BITS", 400)
    assert windows.histograms(way, [40, 123, 400]) == narrow


def test_windows_of_several_lengths_equal_single_walks() -> None:
    way = windows.plan(0x11021)
    assert way is not None
    together = windows.histograms(way, [40, 123, 400])
    assert together == [windows.histograms(way, [bits])[0] for bits in (40, 123, 400)]


@pytest.mark.parametrize(
    "generator",
    [0x12F & 0xFF, 1 << 33 | 1, 0x1755B, 0x14EAB, 0x15935, 0x101],
    ids=["degree 5", "degree 33", "small factors", "repeated", "255 orbits", "x + 1 only"],
)
def test_windows_are_not_planned_for_other_generators(generator: int) -> None:
    assert windows.plan(generator) is None


def test_without_numpy_the_slices_are_used(monkeypatch: pytest.MonkeyPatch) -> None:
    code = contiguous(0x15D6DCB, 200)
    with_numpy = weights(code)
    assert "numpy" in with_numpy.method
    monkeypatch.setattr(windows, "available", lambda: False)
    without = weights(code)
    assert "plain integers" in without.method
    assert without == with_numpy
    monkeypatch.undo()
    assert windows.available()
    monkeypatch.setitem(sys.modules, "numpy", None)
    assert not windows.available()


def test_gapped_codes_never_use_windows() -> None:
    own = powers(0x15D6DCB, (*range(24), *range(56, 140)))
    found = weights(Code(parts=(CheckPart(width=24, own=own),)))
    assert found.method == (
        "all 2^24 dual words counted in slices with plain integers, then MacWilliams"
    )


def test_long_codes_give_the_lowest_weights_only() -> None:
    found = weights(contiguous(0x139B7, spectrum.COMPLETE_BITS + 1))
    assert not found.complete
    assert len(found.counts) == spectrum.LOW_ORDERS + 1
    assert found.distance == 3


def test_two_processes_and_progress_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[float] = []
    monkeypatch.setattr(windows, "_WORTH_PROCESSES_S", 0.0)
    rows = slices.reduced(powers(0x15D6DCB, range(2400)), 24)
    assert slices.cost_s(2400, 23) > 1
    both = slices.histogram(rows, 2400, processes=2, progress=seen.append)
    way = windows.plan(0x15D6DCB)
    assert way is not None
    (walked,) = windows.histograms(way, [2400], processes=2, progress=seen.append)
    assert both == [a + b for a, b in zip(walked, spectrum.remainder(way, 2400), strict=True)]
    assert sorted(seen[:64]) == seen[:64]
    assert (seen[63], seen[-1]) == (1.0, 1.0)


def test_a_worker_process_keeps_its_worker_and_ignores_interrupts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[tuple[int, object]] = []
    monkeypatch.setattr(signal, "signal", lambda *args: asked.append(args))
    monkeypatch.setattr(workers, "_made", [])
    workers._start(lambda a, b: lambda piece: a + b + piece, (1, 2))
    assert workers._work(4) == 7
    assert asked == [(signal.SIGINT, signal.SIG_IGN)]


def test_interrupts_are_held_back_only_while_processes_start(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = signal.pthread_sigmask(signal.SIG_BLOCK, set())
    with workers._interrupts_held(tracked=True):
        assert signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, set())
    assert signal.pthread_sigmask(signal.SIG_BLOCK, set()) == before
    monkeypatch.delattr(signal, "pthread_sigmask")
    with workers._interrupts_held(tracked=True):
        pass


def interrupts_held(inside: Callable[[], object]) -> bool:
    """Tell whether an interrupt that comes inside is raised at the end, and not before."""
    reached = False
    try:
        with workers._interrupts_held(tracked=True):
            inside()
            reached = True
    except KeyboardInterrupt:
        return reached
    return False


def test_an_interrupt_in_another_thread_waits_as_well() -> None:
    """Libraries have threads of their own: one of them may be sent the signal of the terminal."""
    go, handler = threading.Event(), signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, signal.default_int_handler)

    def interrupt() -> None:
        go.wait(10)
        signal.pthread_kill(threading.get_ident(), signal.SIGINT)

    other = threading.Thread(target=interrupt)
    other.start()

    def inside() -> None:
        go.set()
        other.join()
        time.sleep(0.01)

    try:
        assert interrupts_held(inside)
        assert interrupts_held(lambda: signal.raise_signal(signal.SIGINT))
    finally:
        signal.signal(signal.SIGINT, handler)


def test_outside_the_main_thread_only_the_mask_is_set() -> None:
    masks: list[bool] = []

    def held() -> None:
        with workers._interrupts_held(tracked=True):
            masks.append(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, set()))

    other = threading.Thread(target=held)
    other.start()
    other.join()
    assert masks == [True]


def test_an_interrupt_while_processes_start_leaves_none(monkeypatch: pytest.MonkeyPatch) -> None:
    ended: list[bool] = []

    class Pool:
        def __init__(self, *_: object) -> None:
            signal.raise_signal(signal.SIGINT)

        def terminate(self) -> None:
            ended.append(True)

    class Broken:
        def __init__(self, *_: object) -> None:
            raise OSError("no more processes")

    def start(pool: type) -> None:
        context = SimpleNamespace(Pool=pool)
        monkeypatch.setattr(multiprocessing, "get_context", lambda _: context)
        with workers.shared_out(2, lambda: str, ()):
            raise AssertionError("nothing is shared out")

    handler = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            start(Pool)
        with pytest.raises(OSError, match="no more processes"):
            start(Broken)
    finally:
        signal.signal(signal.SIGINT, handler)
    assert ended == [True]


@pytest.mark.parametrize(
    ("copies", "methods", "threads", "method"),
    [
        (True, ["fork", "spawn"], 1, "fork"),
        (False, ["fork", "spawn"], 1, "spawn"),
        (True, ["spawn", "fork"], 1, "spawn"),
        (True, ["fork", "spawn"], 2, "spawn"),
    ],
)
def test_processes_are_copies_where_they_may_be(
    monkeypatch: pytest.MonkeyPatch, copies: bool, methods: list[str], threads: int, method: str
) -> None:
    """Elsewhere a lock that another thread holds would stay held in the copy."""
    asked: list[str] = []

    def context(name: str) -> SimpleNamespace:
        asked.append(name)
        pool = SimpleNamespace(imap_unordered=map, terminate=lambda: None)
        return SimpleNamespace(Pool=lambda *_: pool)

    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: methods)
    monkeypatch.setattr(multiprocessing, "get_context", context)
    monkeypatch.setattr(threading, "active_count", lambda: threads)
    with workers.shared_out(2, lambda: str, (), copies=copies):
        assert asked == [method]


def test_work_beyond_the_limit_is_refused_with_an_estimate() -> None:
    text = (
        r"the weights of 200 bits need 2\^24 words, about 0 s here, and must take at most 0 s: "
        r"raise the limit, or install numpy \(the batch extra\), which is faster for one CRC"
    )
    with pytest.raises(UsageError, match=text):
        weights(contiguous(0x15D6DCB, 200), Effort(numpy=False, limit_s=0.01))
    with pytest.raises(UsageError, match=r"40 bits need 2\^16 words, about 0 s"):
        weights(contiguous(0x15D6DCB, 40), Effort(numpy=False, limit_s=1e-9))
    many = Code(parts=(CheckPart(width=4, own=powers(0x13, range(15)), times=2000),))
    with pytest.raises(
        UsageError,
        match=r"the joint weights of 30000 bits under 8000 check bits need about \d+ s here and "
        r"must take at most 1 s: raise the limit",
    ):
        weights(many, Effort(limit_s=1))
    own = powers(0x139B7, range(40))
    shared = Code(parts=(CheckPart(width=16, own=own, shared=(5,)),), shared_bits=1)
    with pytest.raises(UsageError, match=r"40 bits need 2\^16 words"):
        weights(shared, Effort(limit_s=1e-9))


def test_estimates_grow_with_length_and_never_overflow() -> None:
    assert slices.cost_s(400, 24) == pytest.approx(23e-9 * 2**24)
    assert slices.cost_s(12200, 12168) > 1e200
    assert windows.cost_s(32) == pytest.approx(6.54, abs=0.01)


def test_progress_of_shared_bits_is_one_step_per_error() -> None:
    seen: list[float] = []
    part = CheckPart(width=4, own=powers(0x13, range(6)), shared=powers(0x13, (6, 7)))
    weights(Code(parts=(part,), shared_bits=2), Effort(progress=seen.append))
    assert seen == [0.25, 0.5, 0.75, 1.0]


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: CheckPart(width=0, own=()), "a check must have 1 to 64 bits, not 0"),
        (lambda: CheckPart(width=4, own=(16,)), "each column must fit 4 bits"),
        (lambda: CheckPart(width=4, own=(1,), shared=(-1,)), "each column must fit 4 bits"),
        (
            lambda: CheckPart(width=4, own=(1,), copies=3),
            "copies must be 1 or 2 and times at least 1, not 3 and 1",
        ),
        (lambda: Code(parts=()), "a code must have at least one part"),
        (
            lambda: Code(parts=(CheckPart(width=4, own=(1,)),), shared_bits=13),
            "shared bits must be 0 to 12, not 13",
        ),
        (
            lambda: Code(parts=(CheckPart(width=4, own=(1,)),), shared_bits=1),
            "each part must give 1 columns of shared bits",
        ),
        (
            lambda: powers(0x10, (0,)),
            "a generator must have a top bit and end in 1, not 0x10",
        ),
        (lambda: powers(1, (0,)), "a generator must have a top bit and end in 1, not 0x1"),
        (lambda: powers(0x13, (2, -1)), "each exponent must be at least 0, not -1"),
        (
            lambda: contiguous(0x13, 4),
            "a code must be longer than its 4 check bits, not 4 bits",
        ),
        (
            lambda: stacked((4, (1, 2)), (4, (1,))),
            "stacked checks must give one column for each bit",
        ),
        (
            lambda: spectrum.from_dual([1, 0, 0], 1, 1),
            "dual counts must give a whole A_0: they are no dual of a code",
        ),
    ],
)
def test_nonsense_is_refused(make: object, text: str) -> None:
    with pytest.raises(UsageError) as caught:
        make()  # type: ignore[operator]
    assert str(caught.value) == text


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"counts": (2, 0, 0, 6)}, "there must be one pattern of weight 0"),
        ({"counts": (1, 0, 0, 0, 0)}, "there must be one pattern of weight 0"),
        ({"counts": (1, -1, 1, 1)}, "no count may be negative"),
        ({"counts": (1, 0, 0, 2)}, "the counts must add up to 2^1"),
        ({"dual": (1, 0, 3)}, "the dual counts must add up to 2^2"),
        ({"dual": (1, 0, 2, 0)}, "the dual counts must add up to 2^2"),
        ({"counts": (1, 0), "dual": ()}, "without the dual every count must be there"),
    ],
)
def test_weights_that_no_code_has_are_refused(changed: dict[str, object], text: str) -> None:
    good = {"bits": 3, "check_bits": 2, "rank": 2, "counts": (1, 0, 0, 1), "dual": (1, 0, 3, 0)}
    assert Weights(**good).distance == 3  # type: ignore[arg-type]
    with pytest.raises(UsageError) as caught:
        Weights(**(good | changed))  # type: ignore[arg-type]
    assert str(caught.value).startswith("weights must be consistent: ")
    assert text in str(caught.value)


def test_stacked_puts_the_first_check_on_top() -> None:
    assert stacked((8, (1, 2)), (4, (3, 4))) == (0x13, 0x24)


class TestFields:
    """Polynomials over GF(2) must multiply, divide and factor like polynomials."""

    @given(st.integers(2, 1 << 12), st.integers(1, 1 << 8))
    def test_quotient_and_remainder_give_the_dividend(self, a: int, b: int) -> None:
        quotient, rest = fields.quotient(a, b)
        product = 0
        for bit in range(b.bit_length()):
            if b >> bit & 1:
                product ^= quotient << bit
        assert product ^ rest == a
        assert rest.bit_length() < b.bit_length() or rest == 0

    @given(st.integers(2, 1 << 14))
    def test_factors_multiply_to_the_polynomial(self, polynomial: int) -> None:
        modulus = 1 << 40
        product = 1
        for factor, exponent in fields.factors(polynomial):
            for _ in range(exponent):
                product = fields.times(product, factor, modulus)
            smaller = [d for d in range(2, min(factor, 256)) if fields.quotient(factor, d)[1] == 0]
            assert smaller == []
        assert product == polynomial

    @pytest.mark.parametrize(
        ("generator", "order"), [(0x139B7, 65535), (0x15935, 257), (0x3, 1), (0x7, 3), (0x1F, 5)]
    )
    def test_order_of_x(self, generator: int, order: int) -> None:
        """0x139B7 and 0x15935 as computed by another program; the others by hand."""
        period, starts = fields.irreducible_orbits(generator)
        assert period == order
        degree = generator.bit_length() - 1
        assert len(starts) * period == (1 << degree) - 1
        seen = set()
        for start in starts:
            for _ in range(period):
                seen.add(start)
                start = fields.times(start, 2 % generator if degree > 1 else 1, generator)
        assert len(seen) == (1 << degree) - 1


def test_equal_columns_and_zero_columns_are_low_weight_patterns() -> None:
    own = (0, 5, 5, 3, 6, 1)
    found = weights(Code(parts=(CheckPart(width=3, own=own),)))
    assert found.counts[1] == 1
    assert found.counts[2] == sum(a == b for a, b in combinations(own, 2))
