"""Papers for a class: the list read whatever it looks like, everyone's own numbers printed, answers marked."""

import csv
import re
from html import unescape
from pathlib import Path

import html5lib
import pandas as pd
import pytest
from playwright.sync_api import Browser

from ridethrough.teach.exercises import EXERCISES, Exercise, exercise
from ridethrough.teach.jobs import read_class, refusal, write_marked, write_papers
from ridethrough.units import Refusal, show

NAMES = ["Müller, Anna", "O'Brien", "Łukasz <Żak> & co", "seat 4"]
KEYS = ["00-b", "02-a", "03-a", "00-x"]


def listed(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    file = folder / "class.csv"
    file.write_bytes(text.encode(encoding))
    return file


# --- The class list --------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Anna\nBen\n", ["Anna", "Ben"]),
        ("\r\n\r\nAnna\r\n\r\n  Ben  \r\n\r\n", ["Anna", "Ben"]),
        ("Müller, Anna\nGrün, Jörg", ["Müller, Anna", "Grün, Jörg"]),
        ("name\nMüller, Anna\nGrün, Jörg", ["Müller, Anna", "Grün, Jörg"]),
        ('"Müller, Anna"\n', ["Müller, Anna"]),
        ("Name;room\nMüller, Anna;3\n;\nJörg;\n", ["Müller, Anna", "Jörg"]),
        ("room\tLearner\n3\tAnna\n4\tBen", ["Anna", "Ben"]),
        ("room|pupil\n3|Anna", ["Anna"]),
        ('room, name\n3,"Müller, Anna"\n4,Ben', ["Müller, Anna", "Ben"]),
        ("first name,last name,room\nAnna,Müller,3\nAnna,Schmidt", ["Anna Müller", "Anna Schmidt"]),
        ("Name;First name\nMüller;Anna\nMüller;Jörg", ["Müller Anna", "Müller Jörg"]),
        ("learner,first name\nAnna M,Anna", ["Anna M"]),
        ("Student 1\nStudent 2", ["Student 1", "Student 2"]),
    ],
)
def test_lists_of_any_make_are_read(text: str, names: list[str], encoding: str, tmp_path: Path) -> None:
    assert list(read_class(listed(tmp_path, text, encoding)).rows) == names


def test_an_old_spreadsheets_letters_and_a_long_list_are_read(tmp_path: Path) -> None:
    assert list(read_class(listed(tmp_path, "name;room\nJörg Grün;3\n", "latin-1")).rows) == ["Jörg Grün"]
    many = [f"learner of a long name {number}" for number in range(4000)]
    assert list(read_class(listed(tmp_path, "\n".join(many))).rows) == many


@pytest.mark.parametrize(
    ("text", "given", "remedy"),
    [
        ("", "an empty file", 'the heading "name"'),
        ("name\n", "without a learner", "one name a line"),
        ('""', "without a learner", "one name a line"),
        ("Anna\nBen\n\nAnna\n", "line 4: 'Anna' a second time, after line 1", 'Write "Anna 1" and "Anna 2"'),
        ("Anna\nAN NA\n", "'AN NA' a second time", '"AN NA 1"'),
        ("Jörg\nJo\u0308rg\n", "a second time", "Write"),  # written in another way, with the same numbers
        ("Anna;3\nBen;4", "line 1: 'Anna;3', below no heading", "name;room"),
        ("name;room\nAnna;3\n;4\n", "line 3: no name", '"seat 7"'),
        ("name,room\nMüller, Anna,3", "line 2: 3 cells below a heading of 2", '"Müller, Anna"'),
    ],
)
def test_what_could_be_taken_for_another_is_refused(text: str, given: str, remedy: str, tmp_path: Path) -> None:
    with pytest.raises(Refusal) as refused:
        read_class(listed(tmp_path, text))
    assert given in refused.value.given
    assert remedy in refused.value.remedy


def test_a_missing_list_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=r"can't be opened \(No such file or directory\)") as refused:
        read_class(tmp_path / "none.csv")
    assert "Check folder and spelling" in refused.value.remedy
    with pytest.raises(Refusal, match="not text"):
        read_class(listed(tmp_path, "PK\x03\x04\x00\x00\x01"))


# --- Worksheets and key ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("class")
    said = write_papers(listed(folder, "\n".join(NAMES)), KEYS, folder / "papers")
    assert f"Learners: 4, from {NAMES[0]} to seat 4." in said
    return folder / "papers"


def sheets(papers: Path) -> dict[str, str]:
    """What each learner's sheet says, tags taken out."""
    parts = (papers / "worksheets.html").read_text(encoding="utf-8").split('<article class="sheet">')[1:]
    texts = [unescape(re.sub("<[^>]+>", " ", part)) for part in parts]
    return {text.split("  Date")[0].strip(): text for text in texts}


def test_each_sheet_holds_its_learners_numbers(papers: Path) -> None:
    found = sheets(papers)
    assert list(found) == NAMES
    for who, text in found.items():
        for key in KEYS:
            assert exercise(key, who).question in text
        others = [exercise("00-b", other).question for other in NAMES if other != who]
        assert not any(question in text for question in others)
        assert text.count("Answer, with its unit") == 3


def test_the_key_holds_answers_and_what_slips_give(papers: Path) -> None:
    page = (papers / "key.html").read_text(encoding="utf-8")
    rows = re.findall(r'<th scope="row">(.*?)</tr>', page, re.DOTALL)
    assert len(rows) == len(NAMES)
    for who, row in zip(NAMES, rows, strict=True):
        cells = re.findall(r"<td>(.*?)</td>", row)
        assert cells[3] == "to compare"
        for key, cell in zip(KEYS[:3], cells, strict=False):
            one = exercise(key, who)
            assert isinstance(one, Exercise)
            assert f"<strong>{show(one.answer)}</strong>" in cell
            slips = list(dict.fromkeys(slip for _, slip in one.wrong))
            shown = re.findall(r"<b>(\w)</b> (.*?)</span>", cell)
            assert shown == [("abcdefgh"[slips.index(slip)], show(value)) for value, slip in one.wrong]
    for key in KEYS:
        for _, slip in exercise(key, NAMES[0]).wrong:
            assert slip in unescape(page)
    assert exercise("00-x", "any").turn in unescape(page)  # type: ignore[union-attr]


def test_every_exercise_can_be_printed(tmp_path: Path) -> None:
    write_papers(listed(tmp_path, "only one"), EXERCISES, tmp_path / "out")
    for page in ("worksheets.html", "key.html"):
        html5lib.HTMLParser(strict=True).parse((tmp_path / "out" / page).read_text(encoding="utf-8"))


def test_what_is_there_stays(papers: Path, tmp_path: Path) -> None:
    before = {file.name: file.read_bytes() for file in papers.iterdir()}
    assert set(before) == {"worksheets.html", "key.html", "answers.csv"}
    for job in (lambda: write_papers(listed(tmp_path, "Ben"), KEYS, papers),
                lambda: write_marked(papers / "answers.csv", papers)):  # fmt: skip
        with pytest.raises(Refusal, match="in it") as refused:
            job()
        assert f"--out {papers}-2" in refused.value.remedy
    assert {file.name: file.read_bytes() for file in papers.iterdir()} == before


def test_a_refused_exercise_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="02-z"):
        write_papers(listed(tmp_path, "Ben"), ["02-a", "02-z"], tmp_path / "out")
    assert not (tmp_path / "out").exists()
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(Refusal, match="can be written to"):
        write_papers(listed(tmp_path, "Ben"), ["02-a"], tmp_path / "taken")


# --- Marking ---------------------------------------------------------------------------------------


def filled(papers: Path, answers: dict[str, list[str]], split: str = ",") -> Path:
    """The empty table of the papers with answers in it."""
    with (papers / "answers.csv").open(encoding="utf-8-sig", newline="") as file:
        head, *rows = list(csv.reader(file))
    assert head == ["learner", *KEYS]
    assert [row[0] for row in rows] == NAMES
    assert not any(cell for row in rows for cell in row[1:])
    file = papers.parent / "filled.csv"
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, delimiter=split)
        writer.writerow([*head, "group"])
        writer.writerows([who, *answers.get(who, [""] * 4), "north"] for who in NAMES)
    return file


@pytest.mark.parametrize("split", [",", ";"])
def test_right_answers_and_slips_are_told_apart(papers: Path, split: str, tmp_path: Path) -> None:
    anna, brien, zak = ([exercise(key, who) for key in KEYS] for who in NAMES[:3])
    answers = {
        NAMES[0]: [show(anna[0].answer), show(anna[1].wrong[0][0]), "", "It is <warm>."],
        NAMES[1]: [show(brien[0].answer).replace("h", "days"), "1 Wh", "12.5", ""],
        NAMES[2]: [show(zak[0].wrong[-1][0]), show(zak[1].wrong[0][0]), "one or two", ""],
    }
    said = write_marked(filled(papers, answers, split), tmp_path / "marked")
    table = pd.read_csv(tmp_path / "marked" / "marked.csv", sep=split, dtype=str, keep_default_na=False,
                        encoding="utf-8-sig").set_index(["learner", "exercise"])  # fmt: skip
    kinds = table["kind"].unstack(sort=False).loc[:, KEYS].to_numpy().tolist()
    none = "unanswered"
    assert kinds == [
        ["right", "slip", none, "to compare"],
        ["slip", "slip", "not read", none],
        ["slip", "slip", "not read", none],
        [none, none, none, none],
    ]
    assert table.loc[(NAMES[0], "02-a"), "slip"] == "divided by the whole, not by the difference"
    assert table.loc[(NAMES[0], "02-a"), "lesson"] == "02"
    assert table.loc[(NAMES[1], "00-b"), ["slip", "lesson"]].tolist() == ["hours and days mixed up", "07"]
    assert table.loc[(NAMES[2], "00-b"), "slip"] == anna[0].wrong[-1][1]
    assert "Learners: 4. Right: 00-b 1, 02-a 0, 03-a 0. Slips: 02-a: divided by the whole" in said
    assert said.splitlines()[0].endswith("Not read, each with its reason: 03-a 2.")
    assert "Columns left alone: group." in said
    told = " ".join(table["said"])
    assert not [word for word in ("my_answer", "Shift", "None") if word in told]  # words for a running lesson
    page = (tmp_path / "marked" / "marked.html").read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert said.splitlines()[0] in re.findall("<figcaption>(.*?)</figcaption>", page)
    assert "It is &lt;warm&gt;." in page
    assert "Write the unit with it, for example &#34;12.5 W&#34;" in page


@pytest.mark.parametrize("split", [",", ";"])
def test_a_comma_on_paper_is_what_makes_the_answer_right(split: str, tmp_path: Path) -> None:
    """Learners of two habits: 12,5 with a decimal mark, 1,560 with grouped thousands; neither habit makes it right."""
    who, table = "Zoë", tmp_path / "answers.csv"
    hours = exercise("00-b", who).answer.m_as("h")
    written = {f"{hours:.2f} h".replace(".", ","): "right", f"{hours * 60:,.0f} min": "right",
               f"{hours / 24:.3f} days".replace(".", ","): "right", f"{3 * hours:.1f} h".replace(".", ","): "not yet",
               "1,234,567 h": "not yet", f"ca. {hours:.1f} h".replace(".", ","): "not read"}  # fmt: skip
    for at, (answer, kind) in enumerate(written.items()):
        with table.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, delimiter=split).writerows([["learner", "00-b"], [who, answer]])
        write_marked(table, tmp_path / str(at))
        assert pd.read_csv(tmp_path / str(at) / "marked.csv", sep=split)["kind"].tolist() == [kind], answer
    page = unescape((tmp_path / str(at) / "marked.html").read_text(encoding="utf-8"))
    assert 'not read. <span>Write for example "12 h".</span>' in page


def test_a_name_that_is_not_the_worksheets_is_asked_about(tmp_path: Path) -> None:
    """Jörg's answers under his name and under another spelling of it; Al slips once."""
    mine = [show(exercise(key, "Jörg").answer) for key in ("00-b", "02-a")]  # type: ignore[union-attr]
    rows = [["learner", "00-b", "02-a"], ["Jörg", *mine], ["Jorg", *mine], ["Al", "999 h", "1 Wh"], ["Bo", "999 h", ""]]
    with (tmp_path / "answers.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    write_marked(tmp_path / "answers.csv", tmp_path / "out")
    page = (tmp_path / "out" / "marked.html").read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert re.findall('<p class="lost">(.*?):', page) == ["Jorg"]


@pytest.mark.parametrize("head", ["learner;00b", "learner", "learner;00-b;00-b"])
def test_a_table_without_exercises_is_refused(head: str, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=f"with the columns {head.replace(';', ', ')}") as refused:
        write_marked(listed(tmp_path, f"{head}\nAnna"), tmp_path / "out")
    assert "learner,00-b,02-a" in refused.value.remedy
    assert not (tmp_path / "out").exists()


def test_a_class_without_slips_and_one_with_many_have_a_picture(tmp_path: Path) -> None:
    """Of fifteen exercises the first one finds one learner less with a slip than there are, the next one two less."""
    keys = [key for key in EXERCISES if not key.endswith("x")][:15]
    classes = {"many": 0, "none": 14}
    for name, right in classes.items():
        rows = [["learner", *keys]] + [[f"learner {n}"] + [answer_of(key, f"learner {n}", n <= at + right)
                                                        for at, key in enumerate(keys)] for n in range(14)]  # fmt: skip
        with (tmp_path / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
        write_marked(tmp_path / f"{name}.csv", tmp_path / name)
    many, none = ((tmp_path / name / "marked.html").read_text(encoding="utf-8") for name in classes)
    slip = exercise(keys[0], "learner 1").wrong[0][1]
    assert f"<h2>13 of 14 in {keys[0]}: {slip}</h2>" in unescape(many)
    assert re.findall("</i> <b>(.*?)</b>", many) == [str(count) for count in range(13, 1, -1)]
    assert "The 12 most frequent of 13." in many
    assert "<h2>No known slip</h2>" in none
    assert "Slips: none that is known." in none
    assert "<i " not in none


def answer_of(key: str, who: str, right: bool) -> str:
    """The right answer, or what the first slip gives."""
    asked = exercise(key, who)
    assert isinstance(asked, Exercise)
    return show(asked.answer if right else asked.wrong[0][0])


def test_refusals_fill_their_blanks() -> None:
    assert "papers-2" in refusal("not empty", place="papers", held="key.html").remedy


# --- In a browser ----------------------------------------------------------------------------------


def pages_in(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.mark.parametrize("keys", [KEYS, EXERCISES])
def test_each_learners_sheet_begins_on_a_new_page(browser: Browser, keys: list[str], tmp_path: Path) -> None:
    """A class takes the pages that its learners take alone, also on paper that has room for the next one's sheet."""
    printed, page = dict[str, int](), browser.new_page()
    for at, who in enumerate([NAMES[0], NAMES[1], "\n".join(NAMES)]):
        write_papers(listed(tmp_path, who), keys, tmp_path / f"out-{at}")
        page.goto((tmp_path / f"out-{at}" / "worksheets.html").as_uri())
        printed[who] = pages_in(page.pdf(format="A3"))
    assert printed["\n".join(NAMES)] == len(NAMES) * printed[NAMES[0]] == len(NAMES) * printed[NAMES[1]]
    page.add_style_tag(content=".sheet { break-after: auto !important; }")  # the next sheet would have had room
    assert pages_in(page.pdf(format="A3")) < printed["\n".join(NAMES)]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("keys", [["00-b"], KEYS, ["00-a", "00-b", "00-c", "00-d", "02-e", "03-a"]])
def test_one_learner_a_page_and_nothing_from_outside(
    browser: Browser, paper: str, keys: list[str], tmp_path: Path
) -> None:
    write_papers(listed(tmp_path, "\n".join(NAMES)), keys, tmp_path / "out")
    page, asked = browser.new_context(offline=True).new_page(), list[str]()
    page.on("request", lambda request: asked.append(request.url))
    for name in ("key", "worksheets"):
        page.goto((tmp_path / "out" / f"{name}.html").as_uri())
        printed = page.pdf(format=paper)
    assert pages_in(printed) == len(NAMES)
    assert not [url for url in asked if not url.startswith("file:")]
    assert all(height >= 30 for height in page.eval_on_selector_all(".lines", "all => all.map(l => l.clientHeight)"))
