"""Every vector of the repository, computed again without the code of the package."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from safeframe import cases, crc, frame, protocols
from safeframe._errors import FrameError
from safeframe.cases import Case, CaseFile
from safeframe.protocols.fscp_3_1 import _frame as fscp_3_1
from safeframe.protocols.fscp_12_1 import _frame as fscp_12_1
from safeframe.protocols.opcua_safety import _frame as opcua
from tests import second
from tests.generators import vectors as generator

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "vectors").glob("*/*.json"))
LOADED = {path: cases.load(path) for path in FILES}


def each(*subjects: str) -> list[Any]:
    """Return all cases of these subjects as parameters."""
    return [
        pytest.param(file, case, id=f"{path.parent.name}-{path.stem}-{case.id}")
        for path, file in LOADED.items()
        for case in file.cases
        if case.subject in subjects
    ]


def inputs(file: CaseFile, case: Case) -> dict[str, Any]:
    texts = {name: value for name, value in case.inputs.items() if name != "sender"}
    return frame.from_text(file.profile, texts)


def again(profile: str, values: dict[str, Any]) -> bytes:
    """Build a frame with the second implementation of its profile."""
    if profile == "fscp-12-1":
        if values["command"] in (0x2A, 0x4E):  # Reset and Session carry the id 0.
            values = values | {"connection_id": 0}
        return second.frame_12_1(**values)
    if profile == "en50325-5":
        late = any(
            values.get(measured, 0) > values.get(limit, 1 << 31)
            for measured, limit in (("cycle_ms", "sct_ms"), ("validation_ms", "srvt_ms"))
        )
        if late or len(values["data"]) < values.get("mapped_octets", 0):
            return b""
        return second.pair_en(values["data"], values["identifier_1"], values["identifier_2"])
    if profile == "fscp-13-1":
        return second.frame_13_1(**values)
    if profile == "fscp-2-1":
        return (second.time_2_1 if "ack" in values else second.frame_2_1)(**values)
    if profile == "fscp-3-1":
        return second.frame_3_1(**values)
    if "data" not in values:
        words = values["consumer_id"], values["monitoring_number"]
        return b"".join(word.to_bytes(4, "little") for word in words) + bytes([values["flags"]])
    return second.response_ua(**values)


class TestFiles:
    def test_there_are_vectors_of_every_profile(self) -> None:
        for kind in ("published", "derived"):
            profiles = {file.profile for path, file in LOADED.items() if path.parent.name == kind}
            assert profiles == set(generator.MAKERS)

    @pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
    def test_file_is_canonical_and_fits_the_schema(self, path: Path) -> None:
        schema = json.loads((ROOT / "safeframe/schemas/cases.schema.json").read_text())
        text = path.read_text(encoding="utf-8")
        jsonschema.Draft202012Validator(schema).validate(json.loads(text))
        assert LOADED[path].kind == path.parent.name
        assert cases.dumps(LOADED[path]) == text

    def test_derived_files_are_what_the_generator_makes(self) -> None:
        made = generator.derived()
        assert sorted(made) == sorted(path.name for path in FILES if path.parent.name == "derived")
        for name, file in made.items():
            assert LOADED[ROOT / "vectors" / "derived" / name] == file

    def test_readme_is_what_the_generator_makes(self) -> None:
        text = (ROOT / "vectors" / "README.md").read_text(encoding="utf-8")
        assert text == generator.readme(), "run tests/generators/vectors.py"


class TestFrames:
    @pytest.mark.parametrize(("file", "case"), each("frame"))
    def test_verdict_of_the_package(self, file: CaseFile, case: Case) -> None:
        known = inputs(file, case)
        known.pop("data", None)
        if case.verdict in ("accept", "undetected"):
            parsed = frame.verify(file.profile, case.octets, **known)
            hidden = {name: value for name, value in known.items() if name not in parsed.values}
            assert frame.build(file.profile, **parsed.values, **hidden) == case.octets
            assert frame.inspect(file.profile, case.octets, **known).accepted
            return
        with pytest.raises(FrameError) as caught:
            frame.verify(file.profile, case.octets, **known)
        assert caught.value.check == case.check
        first = frame.inspect(file.profile, case.octets, **known).first
        assert first is not None
        assert first.check == case.check

    @pytest.mark.parametrize(("file", "case"), each("frame"))
    def test_second_implementation(self, file: CaseFile, case: Case) -> None:
        """An accepted frame is what the other implementation builds; a rejected one is not."""
        known = inputs(file, case)
        try:
            carried = dict(frame.parse(file.profile, case.octets, **known).values)
            built = again(file.profile, carried | known)
        except (FrameError, ValueError):
            built = b""
        assert (built == case.octets) is (case.verdict in ("accept", "undetected"))

    def test_the_published_exchange_as_a_session(self) -> None:
        path = ROOT / "vectors/published/fscp-12-1-exchange.json"
        judging = frame.session("fscp-12-1", connection_id=7)
        making = frame.session("fscp-12-1", connection_id=7)
        for case in LOADED[path].cases:
            sender = str(case.inputs["sender"])
            assert judging.judge(sender, case.octets).result == "accepted"
            carried = frame.parse("fscp-12-1", case.octets)
            made = making.produce(sender, data=carried.data, command=carried.values["command"])
            assert made == case.octets

    def test_every_later_block_of_the_exchange_is_related_to_the_first(self) -> None:
        path = ROOT / "vectors/published/fscp-12-1-exchange.json"
        blocks = 0
        for case in LOADED[path].cases:
            assert fscp_12_1.related(case.octets) is None
            blocks += (len(case.octets) - 3) // 4
        assert blocks == 74

    def test_the_published_capture_as_a_session(self) -> None:
        path = ROOT / "vectors/published/fscp-3-1-capture.json"
        session = frame.session("fscp-3-1", parameter_crc=0x22FF)
        results = [session.judge("device", case.octets).result for case in LOADED[path].cases]
        assert results == ["accepted"] * 8


class TestNumbers:
    @pytest.mark.parametrize(("file", "case"), each("block crc"))
    def test_block_crc(self, file: CaseFile, case: Case) -> None:
        values: dict[str, Any] = dict(case.inputs)
        assert (fscp_12_1.block_crc(case.octets, **values),) == case.result
        index = values.pop("index")
        data = bytes(2 * index) + case.octets
        other = second.frame_12_1(data, **values)
        size = len(case.octets)
        at = 1 + (size + 2) * index + size
        assert (int.from_bytes(other[at : at + 2], "little"),) == case.result

    @pytest.mark.parametrize(("file", "case"), each("crc"))
    def test_crc(self, file: CaseFile, case: Case) -> None:
        algorithm = crc.CATALOGUE[str(case.inputs["algorithm"])]
        init = case.inputs.get("init")
        start = algorithm.init if init is None else int(init)
        assert (crc.compute(algorithm, case.octets, init=start),) == case.result
        if not algorithm.refin:
            other = second.crc(algorithm.width, algorithm.poly, case.octets, start)
            assert (other,) == case.result

    @pytest.mark.parametrize(("file", "case"), each("parameter record"))
    def test_parameter_record(self, file: CaseFile, case: Case) -> None:
        values: dict[str, Any] = dict(case.inputs)
        record = fscp_3_1.parameter_record(**values)
        assert (int.from_bytes(record[-2:], "big"),) == case.result
        assert (fscp_3_1.parameter_crc(record),) == case.result
        assert (second.parameter_crc_3_1(**values),) == case.result

    @pytest.mark.parametrize(("file", "case"), each("structure signature"))
    def test_structure_signature(self, file: CaseFile, case: Case) -> None:
        name = str(case.inputs["identifier"])
        type_ids = tuple(map(int, str(case.inputs["type_ids"]).split(",")))
        assert (opcua.structure_signature(name, type_ids),) == case.result
        assert (second.signature_ua(name, type_ids),) == case.result

    @pytest.mark.parametrize(("file", "case"), each("spdu ids"))
    def test_spdu_ids(self, file: CaseFile, case: Case) -> None:
        values: dict[str, Any] = dict(case.inputs)
        assert opcua.spdu_ids(**values) == case.result
        assert second.spdu_ids_ua(**values) == case.result

    @pytest.mark.parametrize(("file", "case"), each("parameter check"))
    def test_parameter_check(self, file: CaseFile, case: Case) -> None:
        recomputed = protocols.room(file.profile).recomputed["parameter check"]
        assert (recomputed(case.octets, dict(case.inputs)),) == case.result
        words = str(case.inputs["objects"]).split()
        assert sum(int(word.partition(":")[2]) for word in words) == len(case.octets)
        assert (second.crc(32, 0x1EDC6F41, case.octets),) == case.result

    @pytest.mark.parametrize(("file", "case"), each("configuration checksum"))
    def test_configuration_checksum(self, file: CaseFile, case: Case) -> None:
        recomputed = protocols.room(file.profile).recomputed["configuration checksum"]
        values: dict[str, Any] = dict(case.inputs)
        assert (recomputed(case.octets, values),) == case.result
        assert (second.checksum_en(**values),) == case.result
        assert (second.crc(16, 0x1021, case.octets),) == case.result

    def test_every_subject_is_tested(self) -> None:
        def subjects() -> Iterator[str]:
            for file in LOADED.values():
                yield from (case.subject for case in file.cases)

        assert set(subjects()) == {
            "frame",
            "block crc",
            "crc",
            "parameter record",
            "structure signature",
            "spdu ids",
            "parameter check",
            "configuration checksum",
        }
