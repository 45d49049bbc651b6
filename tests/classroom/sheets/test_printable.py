"""Printed sheets, read back from the PDF: names, pages, codes, cautions, what must not be on them, and where ink is."""

import io
import re
import unicodedata
from dataclasses import replace
from datetime import date

import pypdf
import pytest
from PIL import Image

from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.sets.snapshots import assigned_from
from tutor.classroom.sheets import pdf
from tutor.classroom.sheets.build import learner_key, learner_sheet, style_of
from tutor.classroom.sheets.content import LONG, LearnerSheet
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine

MILLIMETRE = 72 / 25.4  # points
# Points; ISO 216 gives A4 as 210 mm × 297 mm, ASME Y14.1 (ANSI A) Letter as 8.5 in × 11 in.
PAPERS = {"a4": (210 * MILLIMETRE, 297 * MILLIMETRE), "us-letter": (8.5 * 72, 11 * 72)}
PLAIN_NAMES = [
    "Ana Example",
    "Maximiliana Wilhelmina Featherstonehaugh",
    '#read("/etc/passwd")',
    "$x$ *bold* _it_ `code` @label <tag> \\ // {}",
    '"quoted" \\u202e <b>&amp;</b>',
    "欧阳修 田中太郎 김철수",
    "Łukasz Ñandú Ωmega Жук",
]
SHORT = ["string-voltage-at-record-low", "most-modules-in-series", "conductor-for-current"]


@pytest.fixture(scope="module")
def engine():
    return Engine(load())


@pytest.fixture(scope="module")
def style(engine):
    practice = PracticeSet(id="first-week", title="The first week", items=[Item(exercise=SHORT[0])])

    def made(**how):
        return style_of(practice, engine.library, date(2026, 1, 12), **how)

    return made


def coded(engine, ids=SHORT, number=1):
    return [(f"7KQ{at}-{number:02}", make_problem(engine, id_, None, number)) for at, id_ in enumerate(ids)]


def handed(pairs):
    """Problems with their codes, as they are handed to somebody."""
    return [(assigned_from(problem, Member(id=1, name=""), 1, code), problem) for code, problem in pairs]


def sheet(engine, name="Ana Example", ids=SHORT, number=1, **how):
    return learner_sheet(Member(id=1, name=name, number="12"), handed(coded(engine, ids, number)), **how)


def questions(engine):
    """Every question of the catalogue as a problem with a code of its own."""
    asked = []
    for exercise in engine.library.exercises.values():
        rulebook = "us" if "us" in getattr(exercise, "rulebooks", ["us"]) else "iec"
        ask = next(iter(exercise.asks))
        asked.append((f"Q{len(asked):03}-XX", make_problem(engine, exercise.id, ask, 3, rulebook)))
    return asked


def pages(content):
    """The text of each page, with ordinary spaces, without the breaks of lines."""
    return [plain(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def plain(text):
    return " ".join(text.split())


def unspaced(text):
    return "".join(text.split())


def letters(text):
    """The letters in the order of their code points: what is left to compare where lines run from right to left."""
    return sorted(one for one in unicodedata.normalize("NFKD", text) if unicodedata.category(one).startswith("L"))


def images(style, people, template="learners.typ", ppi=40):
    """The pages as pictures, from the same template and data."""
    told = pdf.inputs(style, people)
    made = pdf.compiler().compile(str(pdf.TEMPLATES / template), format="png", ppi=ppi, sys_inputs=told)
    return [Image.open(io.BytesIO(one)).convert("L") for one in (made if isinstance(made, list) else [made])]


def margins_are_clear(image, ppi=40, left=12, top=6, bottom=4):
    """Whether there is no ink within so many millimetres of the paper's edges, left and right alike."""
    across, above, below = (round(edge / 25.4 * ppi) for edge in (left, top, bottom))
    width, height = image.size
    strips = [(0, 0, across, height), (width - across, 0, width, height), (0, 0, width, above)]
    strips.append((0, height - below, width, height))
    return all(image.crop(strip).getextrema()[0] > 250 for strip in strips)


@pytest.mark.parametrize("name", PLAIN_NAMES)
def test_a_name_is_printed_as_it_is(engine, style, name):
    first = pages(pdf.sheets_pdf(style(), [sheet(engine, name)]))[0]
    assert first.count(plain(name)) == 2  # at the head of the page and as the title


@pytest.mark.parametrize("name", ["محمد عبد الله الأحمد", "דוד בן־גוריון", "مريم 12 Lee"])
def test_a_name_from_right_to_left_keeps_its_letters_and_leaves_the_line_around_it_alone(engine, style, name):
    content = pdf.sheets_pdf(style(), [sheet(engine, name)])
    head = pypdf.PdfReader(io.BytesIO(content)).pages[0].extract_text().split("Number 12")[0]
    assert letters(head.replace("The first week", "")) == sorted(letters(name) * 2)
    assert "Number 12 The first week 12 January 2026" in pages(content)[0]


STEERING = [0x202A, 0x202B, 0x202D, 0x202E, 0x2066, 0x2067, 0x2069, 0x200F, 0x061C, 0x0007, 0x2028]


@pytest.mark.parametrize("point", STEERING)
def test_what_would_steer_the_line_is_shown_and_not_obeyed(engine, style, point):
    first = pages(pdf.sheets_pdf(style(), [sheet(engine, f"Ana{chr(point)}Example", notes=[f"a{chr(point)}b"])]))[0]
    assert f"Ana\\u{point:04x}Example" in first
    assert f"a\\u{point:04x}b" in first
    assert chr(point) not in first


def test_a_sign_that_no_font_has_is_written_out(engine, style):
    assert "Ana \\U0001f98a" in pages(pdf.sheets_pdf(style(), [sheet(engine, "Ana 🦊")]))[0]


def test_signs_that_no_one_font_has_together_do_not_stop_the_printing(engine, style):
    assert "7KQ0-01" in pages(pdf.sheets_pdf(style(), [sheet(engine, "Ana ש\u0d02")]))[0]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("large", [False, True])
def test_the_paper_has_its_size_and_ink_keeps_off_its_edges(engine, style, paper, large):
    names = ["W" * 40, PLAIN_NAMES[1], "نور " * 10]
    people = [sheet(engine, name, notes=["W" * 200, "A note of some length. " * 12]) for name in names]
    content = pdf.sheets_pdf(style(paper=paper, large=large), people)
    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        assert tuple(map(float, page.mediabox[2:])) == pytest.approx(PAPERS[paper], abs=0.5)
    assert all(map(margins_are_clear, images(style(paper=paper, large=large), people)))


def test_every_learner_begins_on_a_new_page_and_pages_count_for_each(engine, style):
    people = [sheet(engine, f"Learner {letter}", ids=SHORT * (2 if letter == "B" else 1)) for letter in "ABC"]
    found = pages(pdf.sheets_pdf(style(), people))
    named = [set(re.findall(r"Learner ([ABC])", page)) for page in found]
    assert all(len(names) == 1 for names in named)
    owners = "".join(name for names in named for name in names)
    assert re.fullmatch("A+B+C+", owners)
    counted = [re.search(r"page \d+ of \d+", page)[0] for page in found]
    lengths = [owners.count(letter) for letter in "ABC"]
    assert counted == [f"page {at} of {length}" for length in lengths for at in range(1, length + 1)]


def test_the_key_stands_apart_from_the_learners_sheets(engine, style):
    problems = coded(engine)
    member = Member(id=1, name="Ana Example")
    sheets = " ".join(pages(pdf.sheets_pdf(style(), [learner_sheet(member, handed(problems))])))
    key = pages(pdf.key_pdf(style(), [learner_key(member, handed(problems))]))
    answer = plain(problems[0][1].text_of(problems[0][1].ask))
    why = plain(problems[0][1].question.exercise.why["cold_voltage"])
    assert answer not in sheets
    assert why not in sheets
    assert "ANSWER KEY" not in sheets
    assert all("ANSWER KEY" in page for page in key)
    assert f"{problems[0][0]} Answer: {answer}" in " ".join(key)
    assert why in " ".join(key)
    whole, on_sheets = unspaced(" ".join(key)), unspaced(sheets)
    for caution in (engine.library.hazards[id_].text for _, one in problems for id_ in one.question.exercise.safety):
        assert unspaced(caution) in whole
        assert unspaced(caution) in on_sheets
    assert all(f"{code} {plain(problem.text_of(problem.ask))}" in key[0] for code, problem in problems)


def test_the_whole_catalogue_fits_each_problem_on_a_page_with_its_code_question_answer_and_cautions(engine, style):
    problems = questions(engine)
    person = learner_sheet(Member(id=1, name=PLAIN_NAMES[1]), handed(problems))
    found = pages(pdf.sheets_pdf(style(), [person]))
    found = [unspaced(page) for page in found]  # a line may break after a hyphen
    standing = unspaced(style().caution)
    assert all(standing in page for page in found)
    titles = [unspaced(f"{printed.place}. {printed.title}") for printed in person.problems]
    for printed, (code, problem), following in zip(person.problems, problems, [*titles[1:], "page"], strict=True):
        (page,) = (page for page in found if code in page)
        block = page.split(code)[1].split(following)[0]
        exercise, book = problem.question.exercise, problem.question.rulebook.id
        hazards = [unspaced(engine.library.hazards[id_].text_under(book)) for id_ in exercise.safety]
        wanted = [unspaced(problem.task), *map(unspaced, printed.answers), *(one for one in hazards if one != standing)]
        assert [one for one in wanted if one not in block] == []
    assert all(map(margins_are_clear, images(style(), [person])))


def test_the_whole_key_keeps_off_the_edges(engine, style):
    keys = [learner_key(Member(id=1, name="W" * 40, number="123456789"), handed(questions(engine)))]
    for template in ("strip.typ", "key.typ"):
        for large in (False, True):
            assert all(map(margins_are_clear, images(style(large=large), keys, template)))


def test_large_print_has_no_text_below_18_points_but_for_the_indices_of_formulas(engine, style):
    ids = ["most-modules-in-series", "battery-fuse", "source-at-a-moment", "switching-on", "shaded-part-bypassed"]
    people = [sheet(engine, ids=ids, steps=True, notes=["A note."])]
    small = []

    def visit(text, matrix, text_matrix, font, size):
        shrunk = abs(text_matrix[0] * text_matrix[3]) ** 0.5 * abs(matrix[0] * matrix[3]) ** 0.5
        of_formula = "NewCM" in str(font and font["/BaseFont"])
        if text.strip() and not of_formula and size * shrunk < 17.95:
            small.append((text, size * shrunk))

    for page in pypdf.PdfReader(io.BytesIO(pdf.sheets_pdf(style(large=True), people))).pages:
        page.extract_text(visitor_text=visit)
    assert small == []
    assert all(map(margins_are_clear, images(style(large=True), people)))


@pytest.mark.parametrize(("length", "fits"), [(LONG - 100, True), (12_000, False)])
@pytest.mark.parametrize("exercise", ["source-at-a-moment", "battery-fuse", "string-fuse-rating"])
def test_a_story_goes_on_over_the_next_page_only_where_it_is_longer_than_one(engine, style, exercise, length, fits):
    (printed,) = sheet(engine, ids=[exercise]).problems
    words = " ".join(f"word{n}" for n in range(length // 8))
    told = replace(printed, story=words, long=len(words) + len(printed.question) > LONG)
    people = [LearnerSheet(name="Ana", number="", problems=(told,))]
    found = pages(pdf.sheets_pdf(style(), people))
    assert (len([page for page in found if re.search(r"word\d", page)]) == 1) is fits
    assert words.split()[-1] in " ".join(found)
    assert all(map(margins_are_clear, images(style(), people)))


def test_steps_to_fill_in_are_printed_where_they_are_wanted(engine, style):
    step = "Module's open-circuit voltage on the coldest morning (V)"
    with_steps, without = (
        " ".join(pages(pdf.sheets_pdf(style(), [sheet(engine, ids=["most-modules-in-series"], steps=steps)])))
        for steps in (True, False)
    )
    assert step in with_steps
    assert step not in without


def test_a_single_sheet_is_tagged_has_a_language_and_says_what_its_pictures_show(engine, style):
    reader = pypdf.PdfReader(io.BytesIO(pdf.sheets_pdf(style(), [sheet(engine)])))
    assert reader.root_object["/MarkInfo"]["/Marked"]
    assert reader.root_object["/Lang"] == "en"
    assert reader.metadata.title == "The first week"
    alternatives = [
        one.get_object()["/Alt"]
        for number in range(1, len(reader.xref[0]) + 1)
        if isinstance(one := reader.get_object(number), dict) and "/Alt" in one
    ]
    assert any(text.startswith("The plus") or "modules in series" in text for text in alternatives)


def test_progress_is_told_after_each_learner(engine, style):
    told = []
    pdf.sheets_pdf(style(), [sheet(engine, name) for name in PLAIN_NAMES[:3]], told.append)
    assert told == [1, 2, 3]


def test_nobody_to_print_for_is_said(style):
    for made in (pdf.sheets_pdf, pdf.key_pdf):
        with pytest.raises(ValueError, match="roster"):
            made(style(), [])


def test_a_long_first_problem_in_large_print_begins_below_the_name(engine, style):
    content = pdf.sheets_pdf(style(large=True), [sheet(engine, ids=["source-at-a-moment"])])
    assert "7KQ0-01" in pages(content)[0]


LARGE = ["most-modules-in-series", "source-at-a-moment", "switching-on"]


def rules_across(image, ppi):
    """How far down the page, in points, a line is drawn across most of it."""
    width, height = image.size
    middle = image.crop((width // 4, 0, 3 * width // 4, height))
    drawn = [y for y in range(height) if max(middle.crop((0, y, width // 2, y + 1)).tobytes()) < 252]
    return [72 * y / ppi for y in drawn if y - 1 not in drawn]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("steps", [False, True])
def test_in_large_print_the_answer_comes_last_below_the_room_to_work(engine, style, paper, steps):
    person = sheet(engine, ids=LARGE, steps=steps)
    content = pdf.sheets_pdf(style(paper=paper, large=True), [person])
    pictures = images(style(paper=paper, large=True), [person], ppi=96)
    for printed in person.problems:
        label = printed.answers[-1]
        (at,) = [at for at, page in enumerate(pages(content)) if plain(label) in page]
        heights = []

        def visit(text, matrix, text_matrix, _font, _size, heights=heights, label=label):
            if text.strip() and label.startswith(text.strip()[:20]):
                heights.append(text_matrix[5] * matrix[3] + matrix[5])

        page = pypdf.PdfReader(io.BytesIO(content)).pages[at]
        page.extract_text(visitor_text=visit)
        below = float(page.mediabox[3]) - heights[-1]
        found = rules_across(pictures[at], 96)
        assert len([y for y in found if y > below]) == 2  # the answer's own line and that of the page's foot
        assert len([y for y in found if y < below]) >= printed.lines
        text = " ".join(pages(content)[: at + 1])
        assert all(plain(caution) in unfooted(text, style().caution) for caution in printed.cautions)


def unfooted(text, foot):
    """The text as it runs on over the pages, without what stands at their foot and head."""
    running = r"( Ana Example page \d+ of \d+ The first week( \d\. [\w-]+, continued)?)?"
    return re.sub(rf" ?{re.escape(plain(foot))}{running}", "", text)


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_says_whose_it_is_of_which_set_and_which_problem_goes_on(engine, style, paper, large):
    found = pages(pdf.sheets_pdf(style(paper=paper, large=large), [sheet(engine, ids=LARGE)]))
    assert len(found) > (6 if large else 2)
    for at, page in enumerate(found, start=1):
        assert "Ana Example" in page
        assert "The first week" in page
        assert f"page {at} of {len(found)}" in page
        begun = re.findall(r"code (7KQ\d-\d\d)", page)
        going_on = re.findall(r"\d\. (7KQ\d-\d\d), continued", page)
        assert len(begun) + len(going_on) >= 1
        assert not set(begun) & set(going_on)
