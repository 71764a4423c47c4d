"""Probabilities, maxima, the cache, and figures of a code."""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from math import comb, log10
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe._errors import UsageError
from safeframe.residual import (
    CheckPart,
    Code,
    Effort,
    Weights,
    approximation,
    bands,
    conditional,
    contiguous,
    curve,
    default_directory,
    figures,
    peak,
    powers,
    rate_per_hour,
    recall,
    undetected,
    weights,
)
from safeframe.residual import (
    _cache as cache,
)
from safeframe.residual import (
    _probability as probability,
)
from safeframe.residual import (
    _spectrum as spectrum,
)

from .. import residual_oracles as oracle
from .test_residual_weights import shared_codes

HALF = Fraction(1, 2)
p_values = st.fractions(min_value=Fraction(1, 10**6), max_value=HALF).filter(bool)


def from_dual_only(given_weights: Weights) -> Weights:
    """Return the same weights with the lowest counts and the dual alone."""
    return Weights(
        bits=given_weights.bits,
        check_bits=given_weights.check_bits,
        rank=given_weights.rank,
        counts=given_weights.counts[:9],
        dual=given_weights.dual,
    )


class TestUndetected:
    """Counts and dual counts must give exactly the same probability at every p."""

    full = weights(contiguous(0x139B7, 48))

    @given(p_values)
    def test_both_sums_agree(self, p: Fraction) -> None:
        assert undetected(self.full, p) == undetected(from_dual_only(self.full), p)

    @given(p_values)
    def test_equals_the_sum_over_all_patterns_of_a_short_code(self, p: Fraction) -> None:
        own = powers(0x13, range(9))
        found = weights(Code(parts=(CheckPart(width=4, own=own),)))
        total = Fraction(0)
        for pattern in range(1, 1 << 9):
            syndrome = 0
            for bit in range(9):
                syndrome ^= own[bit] * (pattern >> bit & 1)
            if syndrome == 0:
                flipped = pattern.bit_count()
                total += p**flipped * (1 - p) ** (9 - flipped)
        assert undetected(found, p) == total
        assert conditional(found, p) == total / (1 - (1 - p) ** 9)

    def test_at_one_half_every_pattern_is_equally_likely(self) -> None:
        assert undetected(self.full, HALF) == Fraction((1 << 32) - 1, 1 << 48)


def test_approximation_is_the_tail_of_the_binomial_distribution() -> None:
    found = weights(contiguous(0x139B7, 32))
    p = Fraction(1, 100)
    tail = sum(comb(32, k) * p**k * (1 - p) ** (32 - k) for k in range(6, 33))
    assert approximation(found, p) == tail / 2**16
    ratio = undetected(found, p) / approximation(found, p)
    assert float(ratio) == pytest.approx(1.7515, abs=1e-4)


@pytest.mark.parametrize(
    ("generator", "bits", "expected"),
    [
        # Exact over approximation at p = 1e-2 and 1e-4, computed by another program.
        (0x15D6DCB, 400, (1.3, 2.0)),
        (0x15935, 304, (19, 66)),
        (0x139B7, 72, (0.16, 0.065)),
    ],
)
def test_the_rule_is_no_bound_in_either_direction(
    generator: int, bits: int, expected: tuple[float, float]
) -> None:
    found = weights(contiguous(generator, bits))
    for exponent, ratio in zip((2, 4), expected, strict=True):
        p = Fraction(1, 10**exponent)
        assert float(undetected(found, p) / approximation(found, p)) == pytest.approx(
            ratio, rel=0.04
        )


def test_peak_of_a_plateau_is_reported_at_one_half() -> None:
    top = peak(weights(contiguous(0x15D6DCB, 400)))
    assert top.p == HALF
    assert float(top.value) == pytest.approx(2**-24)


def test_peak_below_one_half_is_found_and_exact() -> None:
    """1.6745e-5 at p = 0.337 for one octet under 24 virtual zeros: computed by two programs."""
    own = powers(0x139B7, (*range(16), *range(40, 48)))
    found = weights(Code(parts=(CheckPart(width=16, own=own),)))
    assert found.counts[6:11] == (4, 11, 10, 15, 32)
    top = peak(found)
    assert float(top.value) == pytest.approx(1.67452e-5, rel=1e-5)
    assert float(top.p) == pytest.approx(0.337, abs=0.001)
    assert top.value == undetected(found, top.p)
    assert top.value > undetected(found, HALF)
    assert peak(found, condition=True).value == conditional(found, peak(found, condition=True).p)


def test_peak_at_the_lower_end_and_of_a_code_without_words() -> None:
    pair = weights(Code(parts=(CheckPart(width=1, own=(0,)),)))
    assert peak(pair).p == HALF
    share = peak(pair, condition=True)
    assert share.value == 1
    none = weights(Code(parts=(CheckPart(width=2, own=(1, 2)),)))
    assert none.distance is None
    assert peak(none).value == 0
    assert approximation(none, HALF) == 0
    found = figures(none, [HALF])
    assert found.lowest == ()
    assert found.rows[0].ratio is None
    assert found.farthest.off == 1


def test_peak_of_two_bits_257_apart() -> None:
    """0x5935 at 2080 bits: 9.28341e-4 at p = 0.0009976, computed by another program on a coarser
    grid; the maximum is a little higher and to the left."""
    found = weights(contiguous(0x15935, 2080))
    assert not found.complete
    known = undetected(found, Fraction(9976, 10**7))
    assert float(known) == pytest.approx(9.28341e-4, rel=1e-5)
    top = peak(found)
    assert known < top.value < known * Fraction(1002, 1000)
    steps = (Fraction(step, 10**6) for step in range(900, 1030))
    assert max(undetected(found, p) for p in steps) <= top.value * (1 + Fraction(1, 10**6))


def test_curve_gives_logarithms_up_to_one_half() -> None:
    found = weights(contiguous(0x139B7, 32))
    points = curve(found, -4, 20)
    assert len(points) == 20
    assert points[0] == pytest.approx((-4, log10(2.4936479e-23)))
    assert points[-1] == pytest.approx((log10(0.5), log10(1.5258556e-05)))
    assert curve(weights(Code(parts=(CheckPart(width=2, own=(1, 2)),))), -4, 20) == ()


def test_figures_hold_what_a_report_needs() -> None:
    found = figures(weights(contiguous(0x139B7, 32)), [Fraction(1, 100), Fraction(1, 1000)])
    assert found.lowest == ((6, 25), (7, 14), (8, 149), (9, 525), (10, 915))
    assert float(found.excess) == pytest.approx(1, rel=1e-4)
    assert found.farthest is found.rows[1]
    assert float(found.farthest.off) == pytest.approx(1.8023, abs=1e-4)


@pytest.mark.parametrize("p", [Fraction(0), Fraction(51, 100), Fraction(-1, 2)])
def test_bit_error_probabilities_outside_the_range_are_refused(p: Fraction) -> None:
    text = f"a bit error probability must be above 0 and at most 0.5, not {float(p):g}"
    with pytest.raises(UsageError, match=text):
        figures(weights(contiguous(0x13, 8)), [p])


def test_rate_multiplies_its_inputs() -> None:
    assert rate_per_hour(Fraction(1, 10), Fraction(3600), 2) == 720
    text = "messages per hour must be above 0 and sinks at least 1, not 5 and 0"
    with pytest.raises(UsageError, match=text):
        rate_per_hour(Fraction(1), Fraction(5), 0)
    with pytest.raises(UsageError, match="not 0 and 1"):
        rate_per_hour(Fraction(1), Fraction(0), 1)


class TestBands:
    """Each band must have one distance, and its neighbours another."""

    def test_bands_equal_a_search_length_by_length(self) -> None:
        seen: list[float] = []
        found = bands(0x12F, 140, Effort(progress=seen.append))
        distances = [weights(contiguous(0x12F, data + 8)).distance for data in range(1, 141)]
        spread = [band.distance for band in found for _ in range(band.first, band.last + 1)]
        assert spread == distances
        assert [(band.distance, band.last) for band in found] == [(6, 3), (4, 119), (2, 140)]
        last = found[-1]
        assert last.patterns == oracle.by_trial(powers(0x12F, range(148)), 2)[2]
        assert seen[0] == 0

    def test_one_length_is_one_band(self) -> None:
        assert [(band.first, band.last) for band in bands(0x12F, 1)] == [(1, 1)]


CODE = contiguous(0x139B7, 60)


def changed(path: Path, **keys: Any) -> None:
    """Write other values into a cache file, with a right checksum."""
    document = json.loads(path.read_text(encoding="ascii"))
    document |= keys
    document.pop("sha256")
    text = json.dumps(document, sort_keys=True, separators=(",", ":"))
    document["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    path.write_text(json.dumps(document), encoding="ascii")


class TestCache:
    """A cache must never change a result: what is not right in every way is computed again."""

    def test_kept_and_recalled(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        directory = tmp_path / "deep" / "weights"
        first, note = recall(CODE, directory=directory, worth_s=0)
        assert note == ""
        (path,) = directory.iterdir()
        assert path.suffix == ".json"
        monkeypatch.setattr(cache, "weights", lambda *_: pytest.fail("computed again"))
        assert recall(CODE, directory=directory, worth_s=0) == (first, "")
        assert recall(CODE, directory=directory)[0].method == first.method

    def test_quick_results_and_no_directory_leave_no_file(self, tmp_path: Path) -> None:
        recall(CODE, directory=tmp_path, worth_s=60)
        assert recall(CODE, directory=None)[1] == ""
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize(
        ("keys", "reason"),
        [
            ({"format": "safeframe-weights/0"}, 'format must be "safeframe-weights/1"'),
            ({"code": "0" * 64}, "the checksum must match the content"),
            ({"bits": 61}, "the lengths must be those of the code"),
            ({"check_bits": 15}, "the lengths must be those of the code"),
            ({"rank": 15}, "the counts must add up to 2^45"),
            ({"rank": 61}, "rank must be 0..60, not 61"),
            ({"method": "by a test house"}, "method must be a known method, not 'by a test house'"),
            ({"counts": ["1", "f" * 5000]}, "must be a hexadecimal count of at most 61 bits"),
            ({"counts": ["1", "zz"]}, "must be a hexadecimal count of at most 61 bits, not 'zz'"),
            ({"counts": ["1", "1"]}, "the code must have 0 patterns of weight 1"),
            ({"dual": 5}, "dual must be an array, not 5"),
        ],
    )
    def test_wrong_content_is_computed_again(
        self, tmp_path: Path, keys: dict[str, Any], reason: str
    ) -> None:
        first, _ = recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        before = path.read_bytes()
        changed(path, **keys)
        found, note = recall(CODE, directory=tmp_path, worth_s=0)
        assert found == first
        assert note.startswith("cached weights not used and computed again: ")
        assert reason in note
        assert path.read_bytes() == before

    @pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"\xff\xfe", b'{"format": 1', b"null"])
    def test_broken_files_are_computed_again(self, tmp_path: Path, content: bytes) -> None:
        first, _ = recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        path.write_bytes(content)
        found, note = recall(CODE, directory=tmp_path, worth_s=0)
        assert found == first
        assert "computed again" in note
        assert recall(CODE, directory=tmp_path, worth_s=0)[1] == ""

    @given(st.data())
    def test_no_single_changed_octet_changes_the_result(self, data: st.DataObject) -> None:
        directory = self.spoiled
        path = next(directory.iterdir())
        octets = bytearray(self.content)
        at = data.draw(st.integers(0, len(octets) - 1))
        octets[at] ^= 1 << data.draw(st.integers(0, 7))
        path.write_bytes(octets)
        found, _ = recall(CODE, directory=directory, worth_s=60)
        assert found == self.right

    @pytest.fixture(autouse=True)
    def _spoiled(self, tmp_path_factory: pytest.TempPathFactory) -> None:
        self.spoiled = tmp_path_factory.mktemp("spoiled")
        self.right, _ = recall(CODE, directory=self.spoiled, worth_s=0)
        self.content = next(self.spoiled.iterdir()).read_bytes()

    def test_what_could_not_be_read_again_is_not_kept(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        length = len(self.content)
        monkeypatch.setattr(cache, "_MAX_OCTETS", length - 1)
        assert recall(CODE, directory=tmp_path, worth_s=0) == (self.right, "")
        assert list(tmp_path.iterdir()) == []
        monkeypatch.setattr(cache, "_MAX_OCTETS", length)
        assert recall(CODE, directory=tmp_path, worth_s=0) == (self.right, "")
        assert [path.stat().st_size for path in tmp_path.iterdir()] == [length]

    def test_results_without_a_dual_are_kept(self, tmp_path: Path) -> None:
        short = contiguous(0x139B7, 24)
        first, _ = recall(short, directory=tmp_path, worth_s=0)
        assert first.dual == ()
        assert recall(short, directory=tmp_path, worth_s=0) == (first, "")

    def test_a_place_that_cannot_be_written_costs_a_note_only(self, tmp_path: Path) -> None:
        blocked = tmp_path / "file"
        blocked.write_text("", encoding="ascii")
        found, note = recall(CODE, directory=blocked, worth_s=0)
        assert found == self.right
        assert note == "weights not cached: File exists"

    def test_an_interrupted_write_leaves_the_old_file(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        path.write_bytes(b"old")

        def interrupted(_: int) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr(os, "fsync", interrupted)
        with pytest.raises(KeyboardInterrupt):
            recall(CODE, directory=tmp_path, worth_s=0)
        assert path.read_bytes() == b"old"
        assert list(tmp_path.iterdir()) == [path]

    def test_an_interrupt_ends_long_work_without_a_file(self, tmp_path: Path) -> None:
        """The command runs on two processes and gets the signal a terminal would send."""
        command = [sys.executable, "-m", "safeframe", "residual", "--crc", "opcua-safety/crc32"]
        command += ["--data-bits", "12000", "--cache", str(tmp_path), "--processes", "2"]
        done = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
            # A suite that runs in the background ignores the signal, and so would the command.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        time.sleep(1.5)
        assert done.poll() is None
        # As a terminal does: to the whole group.
        os.killpg(done.pid, signal.SIGINT)
        out, err = done.communicate(timeout=60)
        assert done.returncode == 130
        assert out == b""
        assert b"Traceback" not in err
        assert list(tmp_path.iterdir()) == []


def test_default_directory_follows_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    home = Path.home()
    for environ, platform, expected in (
        ({"XDG_CACHE_HOME": "/x"}, "linux", Path("/x/safeframe/weights")),
        ({}, "linux", home / ".cache/safeframe/weights"),
        ({"XDG_CACHE_HOME": ""}, "linux", home / ".cache/safeframe/weights"),
        ({"XDG_CACHE_HOME": "in/here"}, "linux", home / ".cache/safeframe/weights"),
        ({"XDG_CACHE_HOME": "/x"}, "darwin", home / "Library/Caches/safeframe/weights"),
        ({"LOCALAPPDATA": "/x"}, "win32", Path("/x/safeframe/weights")),
        ({}, "win32", home / "AppData/Local/safeframe/weights"),
        ({"SAFEFRAME_CACHE": "here"}, "linux", Path("here")),
        ({"SAFEFRAME_CACHE": "off"}, "win32", None),
    ):
        assert default_directory(environ, platform) == expected

    def homeless() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", homeless)
    assert default_directory({}, "linux") is None


class TestForgedEntries:
    """An entry that is right in itself but of another code MUST never be believed."""

    @pytest.mark.parametrize("generator", [0x11021, 0x1A001 | 0x10000, 0x18005, 0x1C867])
    def test_the_weights_of_another_generator(self, tmp_path: Path, generator: int) -> None:
        own, other = tmp_path / "own", tmp_path / "other"
        right, _ = recall(CODE, directory=own, worth_s=0)
        recall(contiguous(generator, 60), directory=other, worth_s=0)
        (path,), (forged,) = own.iterdir(), other.iterdir()
        path.write_bytes(forged.read_bytes())
        changed(path, code=path.stem)
        found, note = recall(CODE, directory=own, worth_s=60)
        assert found == right
        assert note.startswith("cached weights not used and computed again: the ")

    @pytest.mark.parametrize("generator", [0x11021, 0x18005, 0x1C867])
    def test_of_a_code_that_is_sent_twice(self, tmp_path: Path, generator: int) -> None:
        """Copies have no fewer proofs: what keeps them equal is a check like any other."""

        def twice(poly: int) -> Code:
            own = powers(poly, range(90))
            return Code(parts=(CheckPart(width=16, own=own, copies=2, run=poly),))

        right, _ = recall(twice(0x139B7), directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        other, _ = recall(twice(generator), directory=tmp_path, worth_s=0)
        assert other.rank == right.rank
        changed(path, counts=[f"{count:x}" for count in other.counts])
        found, note = recall(twice(0x139B7), directory=tmp_path, worth_s=60)
        assert found == right
        assert re.search(r"the code must have \d+ patterns of weight [468]$", note)

    def test_a_long_code_that_is_sent_twice(self, tmp_path: Path) -> None:
        """Where no dual is worked out the lightest patterns are counted all the same."""
        own = powers(0x107, range(270))
        code = Code(parts=(CheckPart(width=8, own=own, copies=2, run=0x107),))
        right, _ = recall(code, directory=tmp_path, worth_s=0)
        assert not right.dual
        assert recall(code, directory=tmp_path) == (right, "")
        (path,) = tmp_path.iterdir()
        counts = list(right.counts)
        counts[8], counts[12] = counts[8] - 1, counts[12] + 1
        changed(path, counts=[f"{count:x}" for count in counts])
        found, note = recall(code, directory=tmp_path, worth_s=60)
        assert found == right
        assert note.endswith(f"the code must have {right.counts[8]} patterns of weight 8")

    def test_copies_that_differ(self, tmp_path: Path) -> None:
        """Of bits that are sent twice no pattern is of odd weight."""
        own = powers(0x139B7, range(20))
        code = Code(parts=(CheckPart(width=16, own=own, copies=2, run=0x139B7),))
        right, _ = recall(code, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        counts = list(right.counts)
        most = max(range(3, len(counts)), key=counts.__getitem__)
        counts[most], counts[3] = counts[most] - 1, 1
        changed(path, counts=[f"{count:x}" for count in counts])
        found, note = recall(code, directory=tmp_path, worth_s=60)
        assert found == right
        assert note.endswith("a code of copies alone must have no pattern of odd weight")

    def test_copies_beside_other_bits(self, tmp_path: Path) -> None:
        """A part that is sent twice and one that is not are counted together."""

        def mixed(poly: int, bits: int) -> Code:
            own = powers(poly, range(bits))
            twice = CheckPart(width=16, own=own, shared=(0,), copies=2, run=poly)
            once = CheckPart(width=8, own=powers(0x107, range(bits)), shared=(1,), run=0x107)
            return Code(parts=(twice, once), shared_bits=1)

        for bits in (12, 175):
            right, _ = recall(mixed(0x139B7, bits), directory=tmp_path, worth_s=0)
            (path,) = tmp_path.iterdir()
            for weight in [each for each in range(3, 7) if right.counts[each]]:
                counts = list(right.counts)
                counts[weight], counts[weight + 2] = counts[weight] - 1, counts[weight + 2] + 1
                recall(mixed(0x139B7, bits), directory=tmp_path, worth_s=0)
                changed(path, counts=[f"{count:x}" for count in counts], dual=[])
                found, note = recall(mixed(0x139B7, bits), directory=tmp_path, worth_s=60)
                assert found == right
                told = f"the code must have {right.counts[weight]} patterns of weight {weight}"
                assert note.endswith(told)
            path.unlink()

    def test_counts_that_keep_their_sum(self, tmp_path: Path) -> None:
        right, _ = recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        counts = list(right.counts)
        counts[30], counts[31] = counts[30] - 1, counts[31] + 1
        changed(path, counts=[f"{count:x}" for count in counts])
        found, note = recall(CODE, directory=tmp_path, worth_s=60)
        assert found == right
        assert note.endswith("the counts must follow from the dual counts")

    def test_a_rank_that_its_counts_bear_out(self, tmp_path: Path) -> None:
        right, _ = recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        counts = list(right.counts)
        counts[30] += 1 << 44  # Of rank 15 there are twice as many words in all.
        changed(path, rank=15, dual=[], counts=[f"{count:x}" for count in counts])
        found, note = recall(CODE, directory=tmp_path, worth_s=60)
        assert found == right
        assert note.endswith("the rank must be 16, not 15")

    def test_what_is_no_file(self, tmp_path: Path) -> None:
        right, _ = recall(CODE, directory=tmp_path, worth_s=0)
        (path,) = tmp_path.iterdir()
        path.unlink()
        os.mkfifo(path)
        found, note = recall(CODE, directory=tmp_path, worth_s=0)
        assert found == right
        assert note.endswith("the path must lead to a cached result, not to a pipe")
        assert recall(CODE, directory=tmp_path) == (right, "")

    @given(shared_codes())
    @settings(max_examples=15, deadline=None)
    def test_no_right_entry_is_refused(self, code: Code) -> None:
        with tempfile.TemporaryDirectory() as directory:
            right, _ = recall(code, directory=Path(directory), worth_s=0)
            assert recall(code, directory=Path(directory)) == (right, "")


def test_working_digits_exceed_what_the_search_needs() -> None:
    """The dual sum of the longest code of 32 bits loses 10 digits at its maximum, not 60."""
    found = weights(contiguous(0x139B7, spectrum.COMPLETE_BITS + 1))
    top = peak(found)
    assert top.value == undetected(found, top.p)
    assert probability._DIGITS == 60


@pytest.mark.parametrize("figure", [undetected, conditional, approximation])
@pytest.mark.parametrize("p", [Fraction(-1, 10), Fraction(11, 10)])
def test_what_is_no_probability_is_refused(
    figure: Callable[[Weights, Fraction], Fraction], p: Fraction
) -> None:
    with pytest.raises(UsageError, match=f"^a bit error probability must be 0..1, not {p}$"):
        figure(weights(contiguous(0x107, 24)), p)


def test_certain_and_no_errors() -> None:
    found = weights(contiguous(0x107, 24))
    assert undetected(found, Fraction(0)) == 0
    assert undetected(found, Fraction(1)) == found.counts[24]
    with pytest.raises(UsageError, match=r"^a bit error probability must be above 0 for disturbed"):
        conditional(found, Fraction(0))


@pytest.mark.parametrize(("lowest", "points"), [(-3, 1), (0, 5)])
def test_a_curve_has_two_ends(lowest: int, points: int) -> None:
    told = f"not 10^{lowest} and {points}"
    with pytest.raises(UsageError, match=re.escape(told)):
        curve(weights(contiguous(0x107, 24)), lowest, points)
