"""The tables of one map."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import Place
from safeframe._model import Allowance, ConnectionTable, End, Map, Relation, Reserved, Signal
from safeframe._report import maps, text
from safeframe._report.text import Look, columns

FULL = End(
    name="SC1",
    peer="LX",
    role="master",
    address=0,
    note="hall 3",
    connection_table=ConnectionTable(
        name="SC1-LX",
        profile="plain",
        edition="2",
        id=0,
        watchdog_ms=100,
        exchange_ms=12,
        permitted_reaction_ms=250,
        legal_octets=(2, 4),
        network="west",
    ),
    parameters=(("retry", 3), ("tag", "")),
    relations=(
        Relation(
            name="torque first", when=(("ack", (1,)),), requires=(("level", (0, 1)),), reason="r"
        ),
    ),
    allowances=(
        Allowance(rule="hole", reason="old", signal="x"),
        Allowance(rule="hole", reason="new"),
    ),
    sends=Map(
        entries=(
            Signal(name="permit_torque", at=Place(0, 0), one_means="torque on", bind="V.T"),
            Signal(name="ack", at=Place(0, 1), edge="rising", mirrors="lamp"),
            Signal(
                name="level", at=Place(0, 2), width=2, type="code", codes=((0, "off"), (1, "on"))
            ),
            Signal(name="ack2", at=Place(0, 3), valid_by="ack"),
            Reserved(at=Place(0, 6), width=2, note="spare"),
            Signal(
                name="speed",
                at=Place(1, 0),
                width=16,
                type="int",
                order="big",
                scale="0.5",
                unit="mm/s",
                note="axis",
            ),
        )
    ),
)


SHOWN = """\
SC1, peer LX
  connection          SC1-LX
  profile             plain (2)
  id                  0x0000 (0)
  watchdog            100 ms
  exchange            12 ms
  permitted reaction  250 ms
  legal sizes         2, 4
  network             west
  role                master
  address             0
  retry               3
  tag                 ""
  relation            torque first: ack = 1 requires level = 0 or 1, because: r
  allows hole         x: old
  allows hole         anywhere: new
  note                hall 3

SC1 sends: 3 octets, 5 signals
  place    width  type           signal         safe     meaning       binding
  0.0      1      bool           permit_torque  0        1 = torque    V.T
                                                         on
  0.1      1      bool           ack            0        rising edge;  (unbound)
                                                         mirrors lamp
  0.2-0.3  2      code           level          0 (off)  0 = off, 1 =  (unbound)
                                                         on
  0.3      1      bool           ack2           0        valid by ack  (unbound)
  0.6-0.7  2                     (reserved)     0        spare
  1.0-2.7  16     int,           speed          0        times 0.5;    (unbound)
                  big-endian                             in mm/s;
                                                         axis

  octet  bit 7  bit 6  bit 5  bit 4  bit 3  bit 2  bit 1  bit 0
  0      -      -      ?      ?      !      level  ack    prmttrq
  1      speed  speed  speed  speed  speed  speed  speed  speed
  2      speed  speed  speed  speed  speed  speed  speed  speed
  where prmttrq is permit_torque, - is reserved, ? is declared by nobody, ! is
        declared twice, octet 1 has the high octet of speed, octet 2 has the low
        octet of speed

SC1 receives: 0 octets, 0 signals
"""


def test_everything_of_a_map_is_shown() -> None:
    assert text.render(maps.document(FULL)) == SHOWN


def test_a_wide_window_breaks_no_cell() -> None:
    shown = text.render(maps.document(FULL), Look(width=110)).splitlines()
    row = "1.0-2.7  16     int, big-endian  speed          0        times 0.5; in mm/s; axis   "
    assert f"  {row}(unbound)" in shown


@pytest.mark.parametrize(
    ("names", "labels"),
    [
        (["short"], ["short"]),
        (["brake1_release", "brake2_release"], ["brk1rls", "brk2rls"]),
        (["xxxxxxxxx1", "xxxxxxxxx2"], ["xxxxxxx", "#1"]),
        (["#1", "xxxxxxxxx1", "xxxxxxxxx2"], ["#1", "xxxxxxx", "#2"]),
        (["same", "same"], ["same"]),
        (["-", "?", "!"], ["#1", "#2", "#3"]),
        (["permit_no_ss1"], ["prmtnss"]),
        (["名前名前名"], ["名前名"]),
        (["\x1b[2J"], [r"\x1b[2J"]),
    ],
)
def test_labels_keep_what_tells_names_apart(names: list[str], labels: list[str]) -> None:
    assert list(text._abbreviations(names).values()) == labels


class TestLabels:
    """Different names get different labels of at most seven columns."""

    @given(st.lists(st.text(min_size=1, max_size=20), unique=True, max_size=30))
    def test_unique_and_short(self, names: list[str]) -> None:
        labels = text._abbreviations(names)
        assert list(labels) == names
        assert len(set(labels.values())) == len(names)
        assert all(columns(label) <= 7 for label in labels.values())
