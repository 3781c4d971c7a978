import re
from html.parser import HTMLParser

import numpy as np
import pytest

from cogloupe.reading.models import BudgetLine, Tolerance
from cogloupe.report.markup import data_uri, figures_html, glued, shared_script
from cogloupe.report.page import report_html
from cogloupe.wording.notices import Notice

from ..helpers.report_examples import (
    CAUSES,
    VERDICT,
    example_evidence,
    example_gear,
    example_reading,
    nothing_seen,
)

PNG = b"\x89PNG not really"
VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """Collects the page's text, its table rows and what it would load."""

    def __init__(self, html):
        super().__init__()
        self.open, self.rows, self.loads, self.text, self.tags = [], [], [], "", []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loads += [v for k, v in attrs if k in ("src", "href", "srcset", "action", "data")]
        if tag not in VOID:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"style", "script"} & set(self.open):
            self.text += data
            if self.rows and {"td", "th"} & set(self.open):
                self.rows[-1][-1] += data


def page(reading, **images):
    made = Page(report_html(reading, images=images))
    assert made.open == []
    return made


@pytest.mark.parametrize("teeth", [6, 22, 120])
def test_page_has_a_row_for_every_tooth_and_every_gap(teeth):
    rows = page(example_reading(teeth)).rows
    numbers = [row[0] for row in rows if row[0].isdigit()]
    assert numbers == [str(k) for k in range(1, teeth + 1)] * 2


def test_page_loads_nothing_from_elsewhere():
    drawing, px = example_evidence(12, size=300)
    html = report_html(example_reading(12, px=px), drawing, {"camera": PNG})
    script, *rest = Page(html).loads
    assert script == f"../{shared_script()[0]}"
    assert len(rest) == 2
    assert all(address.startswith("data:") for address in rest)
    for text in (html, shared_script()[1]):
        assert not re.search(r"https?:(?!//www.w3.org/2000/svg)|@import|fetch\(|XMLHttp", text)


def test_a_page_has_no_script_or_style_that_a_strict_content_policy_refuses():
    drawing, px = example_evidence(12, size=300)
    html = report_html(example_reading(12, px=px), drawing)
    inline = [t for t in re.findall(r"<script[^>]*>", html) if "src=" not in t]
    assert inline == ['<script type="application/json" id="reading-data">']
    assert not re.search(r"<[^>]+\son[a-z]+=|<[^>]+\sstyle=", html)


def test_names_are_escaped():
    name = "<script>alert('Sätürn')</script> & \"ring\".jpg"
    warning = Notice(code="obstructed", message="<b>bold</b> & more")
    line = BudgetLine(
        figure="runout_um", source="<i>x</i>", value="1", distribution="normal", sensitivity="1",
        contribution=1.0, unit="µm",
    )  # fmt: skip
    changed = {"warnings": (warning,), "budget": (line,), "gear": example_gear(rack="<u>a</u>")}
    html = report_html(example_reading(file=name, **changed))
    made = Page(html)
    assert made.tags.count("script") == 0
    assert not {"b", "u"} & set(made.tags)
    assert name in made.text
    assert "<b>bold</b> & more" in made.text
    assert "<i>x</i>" in made.text


def test_unicode_file_names_stay_readable():
    assert "zahnräder/土星 №3.jpg" in page(example_reading(file="zahnräder/土星 №3.jpg")).text


def test_flanks_inside_their_uncertainty_are_shown_as_not_resolved():
    errors = np.zeros((12, 2))
    errors[4, 0] = 40.0
    rows = [row for row in page(example_reading(12, errors=errors)).rows if row[0] == "5"]
    rows = [[cell.replace("\u00a0", " ") for cell in row] for row in rows]
    assert rows[0][1] == "+40.0 ± 3.0"
    assert rows[0][4] == "not resolved (U = 3.0)"
    assert "largest single pitch reading" in rows[0][-1]


def test_unseen_flank_is_a_dash_and_is_remarked():
    rows = page(example_reading(12, statuses={(5, "left"): "not_seen"})).rows
    tooth = next(row for row in rows if row[0] == "5")
    assert tooth[1:4] == ["–", "–", "–"]
    assert tooth[7] == "–"
    assert tooth[8] == "left not seen"


def test_nothing_seen_gives_a_page_without_figures():
    made = page(nothing_seen(6))
    assert "No pitch was measured" in made.text
    # The photograph's scale and the worked explanations are all that is left to hold a figure.
    figures = [row[2] for row in made.rows if len(row) == 4][1:]
    assert figures
    assert set(figures) <= {"–", "right flank"}
    assert not re.search(r"\b(None|nan)\b", made.text)


@pytest.mark.parametrize(
    "words",
    [
        "Hold a tooth with its tip up",
        "Helix and lead",
        "no means to accept gears for lifting gear, vehicles, aircraft or medical use",
        "not a proof that the error is zero",
        "Tooth 1 is the first at or after twelve o'clock",
    ],
)
def test_page_explains_itself_and_its_limits(words):
    assert words in page(example_reading()).text


def test_the_page_goes_from_verdict_and_cause_to_teeth_gaps_and_how_sure():
    text = page(example_reading(verdict=VERDICT, causes=CAUSES)).text
    places = [text.index(w) for w in (
        "The teeth run out", "Next: indicate the blank", "What on the machine", "Turn the blank",
        "clear of the turning cutter", "Which teeth, by how much", "The gear in figures",
        "Tooth by tooth", "The gaps", "Gap by gap", "How sure this is", "The edges are soft",
        "How to read",
    )]  # fmt: skip
    assert places == sorted(places)


def test_lengths_of_a_diametral_pitch_gear_carry_the_inch():
    made = page(example_reading(gear=example_gear(22, 25.4 / 24)))
    thickness = next(row for row in made.rows if row[0] == "tooth thickness, mean")
    # 1.5214 mm / 0.0254 = 59.90 thou, U 0.0084 / 0.0254 = 0.33.
    assert thickness[2].replace("\u00a0", " ") == "1.5214 ± 0.0084 mm (59.90 ± 0.33 thou)"
    assert " thou)" not in page(example_reading()).text.replace("\u00a0", " ")


def test_tolerance_classes_are_shown_as_a_range_where_uncertain():
    tolerance = Tolerance(standard="ISO 1328-1:2013", pitch_class=(9, 9), runout_class=(7, 8))
    rows = page(example_reading(tolerance=tolerance)).rows
    shown = {row[0]: row[2] for row in rows if row[0].startswith("tolerance class")}
    assert shown == {"tolerance class, pitch": "9", "tolerance class, runout": "7 to 8"}


def test_columns_sort_by_value_with_empty_cells_known():
    html = report_html(example_reading(12, statuses={(5, "left"): "not_seen"}))
    teeth = html[html.index("Tooth by tooth") : html.index("Gap by gap")]
    assert teeth.count('data-v=""') == 4  # three figures of the flank and the thickness
    assert 'data-v="1.62"' in html


def test_pictures_are_told_apart_by_their_first_bytes():
    assert data_uri(PNG).startswith("data:image/png;base64,")
    assert data_uri(b"\xff\xd8\xff").startswith("data:image/jpeg;base64,")


def test_figures_are_not_broken_across_lines():
    assert glued("1.62 ± 0.01 mm wide in all") == "1.62\u00a0±\u00a00.01\u00a0mm wide in all"


def test_lengths_in_a_sentence_can_be_shown_in_another_unit():
    html = figures_html("Off by −35.5 ± 8.4 µm at <tooth> 4, 1.2 mm deep; 3 µm/px and 5 % stay.")
    assert 'data-v="-35.5" data-l="8.4" data-unit="µm"' in html
    assert 'data-v="1.2" data-l="" data-unit="mm"' in html
    assert html.count("<span") == 2
    assert "&lt;tooth&gt;" in html
