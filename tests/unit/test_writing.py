"""Options that write a file never take the place of something else, by whatever name."""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe import fixtures, record
from safeframe._cli import main
from safeframe._document import output, platform
from safeframe._errors import UsageError, WriteError
from safeframe._report import marks
from tests.unit.record_maps import SIGNED

MAPS = ["sc1-lx.toml", "lx-sc1.toml"]
PAIR = ["after/sc1-lx.toml", "after/lx-sc1.toml"]

WRITERS = {
    "check html": ["check", *PAIR, "--html", "OUT"],
    "check svg": ["check", *PAIR, "--svg", "OUT"],
    "check baseline": ["check", *PAIR, "--write-baseline", "OUT"],
    "diff html": ["diff", *PAIR, "--html", "OUT"],
    "diff four": ["diff", "before/sc1-lx.toml", "before/lx-sc1.toml", *PAIR, "--html", "OUT"],
    "show svg": ["show", PAIR[0], "--svg", "OUT"],
    "record html": ["record", "show", "r.json", "--html", "OUT"],
    "record markdown": ["record", "show", "r.json", "--markdown", "OUT"],
    "residual plot": [
        *("residual", "--poly", "0x39B7", "--width", "16", "--data-bits", "16", "--plot", "OUT")
    ],
    **{
        f"fixtures {name}": ["fixtures", "--set", "start-up", "--format", name, *PAIR, "-o", "OUT"]
        for name in fixtures.FORMATS
    },
    "capture svg": ["capture", "run.jsonl", *PAIR, "--plot", "OUT.svg"],
    "capture html": ["capture", "run.jsonl", *PAIR, "--plot", "OUT.html"],
}
FRESH = {
    "record": ["record", "new", "before/sc1-lx.toml", "before/lx-sc1.toml", *PAIR, "-o", "OUT"],
}


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("model")
    for state, texts in (("before", demo.before()), ("after", demo.after())):
        (folder / state).mkdir()
        for name in MAPS:
            (folder / state / name).write_bytes(texts[name].encode())
    (folder / "r.json").write_text(record.dumps(SIGNED), encoding="utf-8")
    (folder / "foreign").write_text("somebody's work\n", encoding="utf-8")
    made = ["fixtures", "--set", "start-up", "--format", "jsonl", "-o", "run.jsonl", *PAIR]
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(folder)
        assert main(made) == 0
    return folder


@pytest.fixture
def site(model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(model, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    return tmp_path


def words(name: str, path: str) -> tuple[list[str], str]:
    """Return the command line that writes to a path, and the path as it is then."""
    given = {**WRITERS, **FRESH}[name]
    made = [word.replace("OUT", path) for word in given]
    return made, next(new for old, new in zip(given, made, strict=True) if "OUT" in old)


def snapshot(site: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(site)): path.read_bytes() for path in site.rglob("*") if path.is_file()
    }


@pytest.mark.parametrize("name", WRITERS)
class TestEveryOption:
    def test_writes_says_so_and_replaces_its_own(
        self, site: Path, capsys: pytest.CaptureFixture[str], name: str
    ) -> None:
        line, path = words(name, "made")
        capsys.readouterr()
        first = main(line)
        assert first in (0, 1)
        assert re.search(
            rf"^safeframe: {path} written \(.+\)$", capsys.readouterr().err, re.MULTILINE
        )
        octets = (site / path).read_bytes()
        (site / path).write_bytes(octets + b"\n")
        (site / path).chmod(0o640)
        assert main(line) == first
        assert (site / path).read_bytes() == octets
        assert stat.S_IMODE((site / path).stat().st_mode) == 0o640
        assert list(site.glob(".*")) == []

    def test_refuses_what_something_else_wrote(
        self, site: Path, capsys: pytest.CaptureFixture[str], name: str
    ) -> None:
        line, path = words(name, "made")
        for source in ("foreign", "before/sc1-lx.toml", "r.json"):
            (site / path).write_bytes((site / source).read_bytes())
            before = snapshot(site)
            assert main(line) == 2
            assert " must not overwrite " in capsys.readouterr().err
            assert snapshot(site) == before
        assert main([*line, "--force"]) in (0, 1)
        assert (site / path).read_bytes() != (site / "r.json").read_bytes()

    @pytest.mark.parametrize("force", [[], ["--force"]])
    @pytest.mark.parametrize("way", ["name", "round", "symlink", "hard link", "chain"])
    def test_refuses_its_inputs_by_whatever_name(
        self, site: Path, capsys: pytest.CaptureFixture[str], name: str, way: str, force: list[str]
    ) -> None:
        line, path = words(name, "made")
        sources = [word for word in line if word != path and (site / word).is_file()]
        for source in sources:
            target = site / path
            target.unlink(missing_ok=True)
            given = path
            if way == "symlink":
                target.symlink_to(source)
            elif way == "hard link":
                target.hardlink_to(source)
            elif way == "chain":
                (site / "middle").unlink(missing_ok=True)
                (site / "middle").symlink_to(source)
                target.symlink_to("middle")
            else:
                if not source.endswith(path[4:]):
                    continue
                given = source if way == "name" else f"./after/.././{source}"
            before = snapshot(site)
            made = [given if word == path else word for word in line]
            assert main([*made, *force]) == 2
            err = capsys.readouterr().err
            assert f"must not overwrite {given}, which this run reads" in err
            assert snapshot(site) == before

    def test_refuses_what_cannot_be_a_file_of_its_own(
        self, site: Path, capsys: pytest.CaptureFixture[str], name: str
    ) -> None:
        line, path = words(name, "made")
        (site / path).mkdir()
        assert main(line) == 2
        assert f"must name a file, not {path}, which is none" in capsys.readouterr().err
        line, path = words(name, "nowhere/made")
        assert main(line) == 2
        assert "must name a file in a folder that exists" in capsys.readouterr().err
        line, path = words(name, "foreign/made")
        assert main(line) == 2
        assert f"foreign/made{path[12:]}: Not a directory" in capsys.readouterr().err
        line, path = words(name, "locked")
        (site / path).touch()
        (site / path).chmod(0o444)
        assert main(line) == 2
        assert "must name a file that is writable" in capsys.readouterr().err


def test_no_option_replaces_what_another_one_wrote(site: Path) -> None:
    made = {}
    for name in WRITERS:
        line, path = words(name, f"by {name}")
        assert main(line) in (0, 1)
        made[name] = (site / path).read_bytes()
    for name in WRITERS:
        line, path = words(name, "made")
        for other, octets in made.items():
            if name != other and {name, other} != {"diff html", "diff four"}:
                (site / path).write_bytes(octets)
                assert main(line) == 2, (name, other)
                assert (site / path).read_bytes() == octets


def test_a_record_is_always_a_new_file(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line, _ = words("record", "new.json")
    assert main(line) == 0
    assert capsys.readouterr().err.endswith("safeframe: new.json written (record)\n")
    before = snapshot(site)
    for target in ("new.json", "after/sc1-lx.toml", "foreign"):
        assert main(words("record", target)[0]) == 2
        assert (
            f"--output must name a new file, not {target}, which exists" in capsys.readouterr().err
        )
    assert main([*words("record", "x.json")[0], "--html", "x.json"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: --html must name another file than --output, not x.json too\n"
    )
    assert snapshot(site) == before


@pytest.mark.parametrize("second", ["a.out", "./after/../a.out", "A.OUT", "link.out"])
def test_two_options_never_name_one_file(
    site: Path, capsys: pytest.CaptureFixture[str], second: str
) -> None:
    (site / "link.out").symlink_to("a.out")
    assert main(["check", *PAIR, "--html", "a.out", "--svg", second, "--force"]) == 2
    assert "must name another file than --html" in capsys.readouterr().err
    assert not (site / "a.out").exists()


def test_files_in_a_folder_and_in_a_plant_are_inputs_too(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (site / "plant.toml").write_text(
        'format = "safeframe-plant/1"\nname = "hall 3"\n[[connections]]\n'
        f"ends = ['{PAIR[0]}', \"{PAIR[1]}\"]\n",
        encoding="utf-8",
    )
    for given in (["plant.toml"], ["after"]):
        for path in PAIR:
            assert main(["check", *given, "--html", path, "--force"]) == 2
            assert f"must not overwrite {path}, which this run reads" in capsys.readouterr().err
    assert main(["check", "plant.toml", "--html", "plant.toml", "--force"]) == 2


def test_a_link_is_followed_and_stays_one(site: Path) -> None:
    (site / "pages").mkdir()
    (site / "page.html").symlink_to("pages/page.html")
    for _ in range(2):
        assert main(["check", *PAIR, "--html", "page.html"]) == 0
    assert (site / "page.html").is_symlink()
    assert (site / "pages" / "page.html").read_bytes().startswith(b"<!DOCTYPE html>")


def test_pipes_and_devices_are_written_to(site: Path) -> None:
    assert main(["check", *PAIR, "--html", os.devnull]) == 0
    os.mkfifo(site / "pipe")
    read: list[bytes] = []
    thread = threading.Thread(target=lambda: read.append((site / "pipe").read_bytes()))
    thread.start()
    assert main(["check", *PAIR, "--html", "pipe"]) == 0
    thread.join()
    assert read[0].endswith(b"</html>\n")
    assert stat.S_ISFIFO((site / "pipe").stat().st_mode)


def test_a_full_disk(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", *PAIR, "--html", "/dev/full"]) == 3
    assert capsys.readouterr().err == (
        "safeframe: /dev/full was not written: No space left on device\n"
    )


def test_new_files_have_the_usual_rights(site: Path) -> None:
    before = os.umask(0o027)
    try:
        assert main(["check", *PAIR, "--html", "a.html"]) == 0
    finally:
        os.umask(before)
    assert stat.S_IMODE((site / "a.html").stat().st_mode) == 0o640


def test_mistakes_go_into_a_new_folder(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = ["fixtures", "--set", "mistakes", "-o", "wrong", *PAIR]
    assert main(line) == 0
    before = snapshot(site)
    capsys.readouterr()
    assert main(line) == 2
    assert capsys.readouterr().err == (
        "safeframe: the folder of mistaken maps must be new or empty, not wrong as it is "
        "(name another one, or remove it)\n"
    )
    assert snapshot(site) == before
    (site / "dangling").symlink_to("nowhere")
    assert main([*line[:4], "dangling", *PAIR]) == 2


KIND = output.OutputKind("list", (b"#",), b"# list")


def claimed(path: Path) -> output.Claim:
    (made,) = output.claim([("--list", str(path), KIND)], {}, force=False).values()
    return made


class TestRaces:
    def test_a_file_that_appears_meanwhile(self, tmp_path: Path) -> None:
        made = claimed(tmp_path / "a")
        (tmp_path / "a").write_bytes(b"# list of another program")
        with pytest.raises(UsageError, match="another program has made it meanwhile"):
            output.write(made, b"# list")
        assert (tmp_path / "a").read_bytes() == b"# list of another program"
        assert [path.name for path in tmp_path.iterdir()] == ["a"]

    def test_a_file_that_changes_meanwhile(self, tmp_path: Path) -> None:
        (tmp_path / "a").write_bytes(b"# list")
        made = claimed(tmp_path / "a")
        (tmp_path / "a").write_bytes(b"# listed")
        with pytest.raises(UsageError, match="changed since by another program"):
            output.write(made, b"# list")
        assert (tmp_path / "a").read_bytes() == b"# listed"
        assert [path.name for path in tmp_path.iterdir()] == ["a"]

    @pytest.mark.parametrize("error", [KeyboardInterrupt(), OSError(5, "Input/output error")])
    @pytest.mark.parametrize("step", ["open_new", "create"])
    def test_an_interrupt(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, error: BaseException
    ) -> None:
        made = claimed(tmp_path / "a")
        real = getattr(platform.Posix, step)

        def interrupted(*given: object) -> None:
            if step == "open_new":
                os.close(real(*given))
            raise error

        monkeypatch.setattr(platform.Posix, step, interrupted)
        with pytest.raises((KeyboardInterrupt, WriteError)):
            output.write(made, b"# list")
        assert [path.name for path in tmp_path.iterdir()] == []

    @pytest.mark.parametrize("written", [True, False])
    @pytest.mark.parametrize("name", ["page.html", os.devnull])
    def test_an_interrupt_says_whether_the_file_is_written(
        self,
        name: str,
        written: bool,
        site: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        real = output.write

        def interrupted(made: output.Claim, octets: bytes) -> None:
            if written:
                real(made, octets)
            raise KeyboardInterrupt

        monkeypatch.setattr(output, "write", interrupted)
        assert main(["check", *PAIR, "--html", name]) == 130
        words = "holds" if written else "does not hold"
        words = "may have got a part of" if name == os.devnull else words
        told = f"safeframe: interrupted: {name} {words} the page of check\n"
        assert capsys.readouterr().err == told
        assert (site / "page.html").exists() is (written and name != os.devnull)

    @pytest.mark.parametrize("written", [True, False])
    @pytest.mark.parametrize(
        ("line", "told"),
        [
            (
                ["fixtures", "--set", "mistakes", *PAIR, "-o", "into"],
                r"interrupted: into/[a-z-]+ holds {} of 2 files\n",
            ),
            (["demo", "--into", "into"], r"interrupted: into/before holds {} of 6 files\n"),
            (
                ["verify", "two/plant.toml", "--pages", "into"],
                r"into: {} pages? written \(page of verify\)\n",
            ),
        ],
        ids=["mistakes", "demo", "pages"],
    )
    def test_an_interrupt_says_how_many_files_are_written(
        self,
        line: list[str],
        told: str,
        written: bool,
        site: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        (site / "two").mkdir()
        rows = 2 * '{ ends = ["../after/sc1-lx.toml", "../after/lx-sc1.toml"] },\n'
        (site / "two" / "plant.toml").write_text(
            f'format = "safeframe-plant/1"\nname = "hall"\nconnections = [\n{rows}]\n', "utf-8"
        )
        real = output.write
        before: list[output.Claim] = []

        def interrupted(made: output.Claim, octets: bytes) -> None:
            before.append(made)
            if len(before) == 1 or written:
                real(made, octets)
            if len(before) == 2:
                raise KeyboardInterrupt

        monkeypatch.setattr(output, "write", interrupted)
        assert main(line) == 130
        number = 2 if written else 1
        assert re.search(told.format(number), capsys.readouterr().err)
        made = [path for path in (site / "into").rglob("*") if path.is_file()]
        assert len(made) == number

    def test_a_reader_that_leaves(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "pipe")
        made = claimed(tmp_path / "pipe")
        reader = os.open(tmp_path / "pipe", os.O_RDONLY | os.O_NONBLOCK)
        threading.Timer(0.5, os.close, [reader]).start()
        with pytest.raises(WriteError, match="its reader has left"):
            output.write(made, b"#" * 1_000_000)


def test_a_file_without_its_mark_is_a_mistake_of_ours(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="a list must carry its mark"):
        output.write(claimed(tmp_path / "a"), b"something else")


def test_a_name_without_meaning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(UsageError):
        claimed(tmp_path / ("x" * 300))


def test_pages_allow_nothing_but_their_own_styles() -> None:
    words = (
        '<!DOCTYPE html>\n<head><meta charset="utf-8"></head><style>p { color: red }</style>'
        '<col style="width: 5&#37;"><col style="width: 5&#37;">'
    )
    made = marks.marked(marks.page("x"), words)
    # Both digests are those of openssl dgst -sha256 -binary | base64.
    assert made == words.replace(
        '<meta charset="utf-8">',
        '<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-hashes' "
        "'sha256-ngewhhP73WDIbgwseeu52VAAJgKdGUsu1IUQQsAm8m4=' "
        "'sha256-rtNK1Dl66yWtANxpIt825KMaU1NgBwNJBOZedcQkjuQ='; "
        "base-uri 'none'; form-action 'none'\">\n"
        '<meta name="generator" content="safeframe x">',
    )
    assert marks.marked(marks.page("x"), made).count("Content-Security-Policy") == 1
    assert "style-src 'none'" in marks.marked(marks.page("x"), '<meta charset="utf-8">')


@pytest.mark.parametrize(
    "name", ["check html", "diff html", "diff four", "record html", "capture html"]
)
def test_every_page_carries_the_policy(site: Path, name: str) -> None:
    line, path = words(name, "made")
    assert main(line) in (0, 1)
    page = (site / path).read_text("utf-8")
    assert page.count('http-equiv="Content-Security-Policy" content="default-src \'none\'') == 1
    assert page.index("Content-Security-Policy") < page.index("<title>")
    for tag in ("<script", "<link", "<img", "<iframe", "<object", " onload", " src="):
        assert tag not in page


def test_records_of_two_writers_at_once(site: Path) -> None:
    """Whoever is told that it is written finds it there afterwards."""
    program = (
        "import sys; from safeframe._cli import main; sys.exit(main(['record', 'fill', 'r.json', "
        "'--end', sys.argv[1], '--who', 'A. Berg', '--when', '2026-03-02', '--serial', '7']))"
    )
    environ = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    for _ in range(3):
        (site / "r.json").write_text(record.dumps(SIGNED), encoding="utf-8")
        running = [
            subprocess.Popen(
                [sys.executable, "-c", program, end], env=environ, stderr=subprocess.PIPE
            )
            for end in ("SC1", "LX")
        ]
        codes, said = {}, {}
        for end, process in zip(("SC1", "LX"), running, strict=True):
            said[end] = process.communicate()[1]
            codes[end] = process.returncode
        made = record.load(site / "r.json")
        for each in made.people.read_backs:
            assert (each.serial == "7") is (codes[each.end] == 0)
        assert set(codes.values()) <= {0, 2}, said
        assert 0 in codes.values(), said
