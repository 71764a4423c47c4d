"""Batches and chained batches against the frame-by-frame way."""

from __future__ import annotations

import importlib
import random
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import crc, frame
from safeframe._errors import UsageError
from safeframe.crc import batch
from safeframe.protocols.fscp_12_1 import _frame as fscp_12_1
from safeframe.protocols.fscp_12_1 import batch as batch_12_1
from safeframe.protocols.fscp_12_1.batch import Start

from .test_crc import algorithms


def random_octets(seed: int, *shape: int) -> np.ndarray[Any, np.dtype[np.uint8]]:
    return np.random.default_rng(seed).integers(0, 256, shape, dtype=np.uint8)


class TestBatch:
    @given(
        algorithms(),
        st.integers(0, 5),
        st.integers(0, 12) | st.integers(30, 36),
        st.binary(max_size=4),
        st.binary(max_size=4),
    )
    def test_batch_equals_the_loop(
        self, algorithm: crc.Algorithm, count: int, size: int, prefix: bytes, suffix: bytes
    ) -> None:
        """Every CRC of a batch is the CRC of prefix, row and suffix alone, for any algorithm."""
        rows = random_octets(size, count, size)
        found = batch.crcs(algorithm, rows, prefix=prefix, suffix=suffix)
        expected = [crc.compute(algorithm, prefix + row.tobytes() + suffix) for row in rows]
        assert found.tolist() == expected
        assert found.itemsize == max(1, {24: 4}.get(algorithm.width, algorithm.octets))

    def test_more_than_one_pass(self) -> None:
        rows = random_octets(1, 70_000, 3)
        algorithm = crc.CATALOGUE["fscp-13-1/crc16"]
        found = batch.crcs(algorithm, rows)
        for at in (0, 65_535, 65_536, 69_999):
            assert found[at] == crc.compute(algorithm, rows[at].tobytes())

    def test_any_memory_order(self) -> None:
        algorithm = crc.CATALOGUE["fscp-3-1/crc2-24"]
        rows = random_octets(2, 40, 9)
        expected = batch.crcs(algorithm, rows).tolist()
        assert batch.crcs(algorithm, np.asfortranarray(rows)).tolist() == expected
        assert batch.crcs(algorithm, rows[::-1]).tolist() == expected[::-1]
        wide = np.zeros((40, 20), dtype=np.uint8)
        wide[:, 3:12] = rows
        assert batch.crcs(algorithm, wide[:, 3:12]).tolist() == expected

    def test_frames_from_octets(self) -> None:
        rows = batch.as_frames(b"abcdef", 3)
        assert rows.tolist() == [[97, 98, 99], [100, 101, 102]]
        for size in (0, 4):
            with pytest.raises(UsageError, match=f"a whole number of frames of {size} octets"):
                batch.as_frames(b"abcdef", size)

    def test_wrong_arrays(self) -> None:
        algorithm = crc.CATALOGUE["crc-32"]
        with pytest.raises(UsageError, match="two-dimensional array of uint8, not 1 of uint8"):
            batch.crcs(algorithm, np.zeros(3, dtype=np.uint8))
        with pytest.raises(UsageError, match="two-dimensional array of uint8, not 2 of uint16"):
            batch.crcs(algorithm, np.zeros((3, 1), dtype=np.uint16))

    def test_without_numpy(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "numpy", None)
        monkeypatch.delitem(sys.modules, "safeframe.crc.batch")
        with pytest.raises(ImportError, match=r"needs numpy: install safeframe\[batch\]$"):
            importlib.import_module("safeframe.crc.batch")


def loop(
    first: list[bytes], second: list[bytes], begin: Start, connection_id: int
) -> list[tuple[int, bytes]]:
    """Return (number, frame) for an exchange, one frame at a time, rule by rule."""
    numbers, own = list(begin.sequence), list(begin.crc0)
    peer, found = begin.crc0[1], []
    for count in range(len(first) + len(second)):
        who = count & 1
        data = (first, second)[who][count >> 1]
        number = numbers[who]
        while True:
            octets = frame.build(
                "fscp-12-1",
                data=data,
                connection_id=connection_id,
                peer_crc0=peer,
                sequence=number,
            )
            at = 2 if len(data) == 1 else 3
            crc0 = int.from_bytes(octets[at : at + 2], "little")
            if crc0 != own[who]:
                break
            number = fscp_12_1.next_sequence(number)
        numbers[who], own[who], peer = fscp_12_1.next_sequence(number), crc0, crc0
        found.append((number, octets))
    return found


class TestChain:
    @settings(max_examples=40)
    @given(st.data())
    def test_chained_batch_equals_the_loop(self, data: st.DataObject) -> None:
        """A chained batch is the frame-by-frame loop, the change rule included.

        Starting with the CRC_0 that the first frames are about to have forces the rule.
        """
        rounds = data.draw(st.integers(1, 150))
        sizes = data.draw(st.sampled_from(((1, 1), (2, 2), (4, 2), (2, 12), (6, 6))))
        draw = random.Random(data.draw(st.integers(0, 1 << 32)))
        first = [draw.randbytes(sizes[0]) for _ in range(rounds)]
        second = [draw.randbytes(sizes[1]) for _ in range(rounds - draw.randrange(2))]
        word = st.integers(0, 65535)
        number = st.integers(65500, 65535) | st.integers(1, 65535)
        begin = Start(
            sequence=(data.draw(number), data.draw(number)), crc0=(data.draw(word), data.draw(word))
        )
        if data.draw(st.booleans()):
            forced = fscp_12_1.block_crc(
                first[0][:2],
                peer_crc0=begin.crc0[1],
                connection_id=7,
                sequence=begin.sequence[0],
                command=0x36,
            )
            begin = Start(sequence=begin.sequence, crc0=(forced, begin.crc0[1]))
        expected = loop(first, second, begin, 7)
        made, answers, chain = batch_12_1.build(
            np.array([list(row) for row in first], dtype=np.uint8),
            np.array([list(row) for row in second], dtype=np.uint8).reshape(-1, sizes[1]),
            7,
            start=begin,
        )
        assert chain.sequence.tolist() == [number for number, _ in expected]
        assert [row.tobytes() for row in made] == [octets for _, octets in expected[0::2]]
        assert [row.tobytes() for row in answers] == [octets for _, octets in expected[1::2]]

    def test_a_long_exchange_meets_the_rule(self) -> None:
        """Over several scans, with the rule applied where it is due, every entry is right."""
        count = 150_000
        blocks = random_octets(5, count, 2)
        commands = np.full(count, 0x36, dtype=np.uint8)
        found = batch_12_1.chain(blocks, commands, 263)
        octets, skipped = blocks.tobytes(), 0
        numbers, own, peer = [1, 1], [0, 0], 0
        for at in range(count):
            who, number = at & 1, numbers[at & 1]
            values = {"peer_crc0": peer, "connection_id": 263, "command": 0x36}
            block = octets[2 * at : 2 * at + 2]
            crc0 = fscp_12_1.block_crc(block, sequence=number, **values)
            if crc0 == own[who]:
                number, skipped = fscp_12_1.next_sequence(number), skipped + 1
                crc0 = fscp_12_1.block_crc(block, sequence=number, **values)
            assert (found.sequence[at], found.crc0[at]) == (number, crc0), at
            assert found.peer_crc0[at] == peer
            numbers[who], own[who], peer = fscp_12_1.next_sequence(number), crc0, crc0
        assert skipped == 1

    @pytest.mark.parametrize("sizes", [(1, 1), (2, 2), (4, 6)])
    def test_a_session_makes_the_same_frames(self, sizes: tuple[int, int]) -> None:
        first, second = random_octets(7, 300, sizes[0]), random_octets(8, 300, sizes[1])
        made, answers, _ = batch_12_1.build(first, second, 7)
        making = frame.session("fscp-12-1", connection_id=7)
        for row, octets, answer, reply in zip(first, made, second, answers, strict=True):
            assert making.produce("master", data=row.tobytes()) == octets.tobytes()
            assert making.produce("slave", data=answer.tobytes()) == reply.tobytes()

    def test_wrong_arrays(self) -> None:
        row = np.zeros((2, 2), dtype=np.uint8)
        one = np.zeros((2, 1), dtype=np.uint8)
        commands = np.zeros(2, dtype=np.uint8)
        with pytest.raises(UsageError, match=r"blocks must be \(frames, 1 or 2\)"):
            batch_12_1.chain(np.zeros((2, 3), dtype=np.uint8), commands, 7)
        with pytest.raises(UsageError, match=r"not \(2, 2\) and \(1,\)"):
            batch_12_1.chain(row, commands[:1], 7)
        with pytest.raises(UsageError, match=r"connection_id must be 0\.\.65535, not 65536"):
            batch_12_1.chain(row, commands, 65536)
        with pytest.raises(UsageError, match="as many frames as the second or one more, not 1 and"):
            batch_12_1.build(row[:1], row, 7)
        with pytest.raises(UsageError, match="one data octet, or both an even number"):
            batch_12_1.build(row, one, 7)
