"""The page: says all of the record, loads nothing, runs nothing foreign, never falls over."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pandas as pd
import pytest
from plotly.offline import get_plotlyjs_version

from pipeline.expected_error import FAN
from pipeline.result import RankedCause, SiteInfo, SiteResult
from pipeline.units import PA_PER_INWC
from reports.block import Model
from reports.blocks import trust
from reports.page import LIBRARY
from reports.site import BLOCKS, render_site
from reports.wire import packed, unpacked
from tests import report_sample as sample


@pytest.fixture(scope="module")
def page() -> str:
    return render_site(sample.sample_result())


class Tags(HTMLParser):
    """Every start tag with its attributes, and the text outside scripts and styles."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._inside = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._inside = tag

    def handle_endtag(self, tag: str) -> None:
        if tag == self._inside:
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if not self._inside:
            self.text += data + " "


def words(page: str) -> str:
    return re.sub(r"\s+", " ", Tags(page).text)


def words_raw(page: str) -> str:
    """The page with its no-break spaces as spaces."""
    return page.replace("\u00a0", " ")


def script_text(page: str, key: str) -> str:
    found = re.search(rf'<script type="[a-z/]+" id="{key}">(.*?)</script>', page, re.S)
    assert found, key
    return found.group(1)


def opened(page: str, key: str) -> str:
    return unpacked(script_text(page, key))


def policy(page: str) -> str:
    metas = [a for t, a in Tags(page).tags if t == "meta"]
    assert metas[0] == {"charset": "utf-8"}
    assert metas[1]["http-equiv"] == "Content-Security-Policy"
    return metas[1]["content"] or ""


def figures(page: str) -> dict:
    return json.loads(opened(page, "figures"))


# ------------------------------------------------------------------ what the page says


@pytest.mark.parametrize(
    "text", ["", "a", "</script><!--", "°F " * 999, "".join(map(chr, range(9999)))]
)
def test_what_is_packed_into_the_page_comes_back_and_can_end_nothing(text: str) -> None:
    signs = packed(text)
    assert unpacked(signs) == text and packed(text) == signs
    assert not set(signs) & set("<>&\"' \\")


def test_page_names_every_finding_with_its_parts(page: str) -> None:
    said = words(page)
    for finding in sample.sample_result().findings:
        assert f'id="finding-{finding.code}"' in page
        for part in (finding.title, finding.summary, finding.source, *finding.ruled_out):
            assert part in said
        for cause in finding.causes:
            assert cause.cause in said and cause.because in said
        for caution in finding.cautions:
            assert caution in said
        for check in finding.checks:  # what is good and what is bad stand on their own lines
            assert all(piece in said for piece in re.split(r" (?=Good: |If not: )", check))


def test_page_names_every_rule_and_its_result(page: str) -> None:
    said = words(page)
    for judged in sample.sample_result().judged:
        assert judged.title in said and judged.question in said and judged.why in said
    assert "3 rules: 1 found, 1 not found and 1 cannot tell." in said


def test_verdict_stands_first_with_call_and_doubt(page: str) -> None:
    said = words(page)
    assert said.index("Act") < said.index("The panel's high limit shut the heat off once.")
    assert said.index("shut the heat off once.") < said.index("The days at a glance")
    assert "Shown by the log: 2 days, 3 hours of heat." in said
    assert "Gas pressure was not logged." in said


def test_checks_about_the_house_come_before_those_about_the_log() -> None:
    result = sample.sample_result()
    turned = replace(result, findings=result.findings[::-1])
    said = words(render_site(turned))
    first = said[said.index("Check first") :]
    assert first.index("At the panel") < first.index("At the loggers")


def test_two_checks_that_begin_alike_are_told_once() -> None:
    result = sample.sample_result()
    first, second, *others = result.findings
    one = "At the panel: Read the minimum number of zones and the delay. Good: as on the sheet."
    two = "At the panel: Read the minimum number of zones and photograph it. Good: 2 zones."
    three = "At the panel: Read the target. Good: as on the sheet."
    alike = (replace(first, checks=(one,)), replace(second, checks=(two, three)), *others)
    said = words(render_site(replace(result, findings=alike)))
    told = said[said.index("Check first") : said.index("more under the findings")]
    assert "and the delay" in told and "Read the target" in told
    assert "and photograph it" not in told and "and photograph it" in said


def test_rows_are_accounted_for_in_one_sentence(page: str) -> None:
    # 1000 + 2 + 1 = 1003, as the sample's one file says
    assert "1,003 rows read = 1,000 loaded + 2 rejected + 1 repeated." in words(page)


def test_rows_that_do_not_add_up_are_called_our_fault() -> None:
    result = sample.sample_result()
    files = result.frames["store.file"].assign(n_loaded=999)
    wrong = replace(result, frames=result.frames | {"store.file": files})
    assert "does not add up" in words(str(trust.render(Model(wrong)).html))


def test_days_sentence_counts_what_is_drawn(page: str) -> None:
    # by hand from the sample: heat 6-8 am and 1-2 am = 3 h, second stage 7:00-7:30 = 30 min
    assert (
        "In 2 local days: heat ran 3 h (30 min of it in second stage); no cooling ran; "
        "1 limit trip on 1 day." in words(page)
    )


def _uncalled() -> SiteResult:
    """The sample with no call logged: the rule cannot tell, no trip row, outputs still known."""
    result = sample.sample_result()
    conditions = result.frames["interval.condition"].assign(zones=None, n_zones=None)
    on = conditions["class"].eq("heating")
    conditions["w1"] = on.where(conditions["class"].ne("unknown"))
    conditions["w2"] = conditions["stage"].eq(2).where(conditions["class"].ne("unknown"))
    conditions["class"] = "unknown"
    runs = result.frames["interval.output_run"].assign(
        source="burner", mode="heating", in_visit=False
    )
    runs = pd.concat([runs, runs.assign(start_ts=sample.at(14, 1), end_ts=sample.at(14, 2))])
    coverage = result.frames["measure.coverage"]
    coverage = coverage[coverage["figure"].ne("trips") & coverage["figure"].ne("conditions")]
    outputs = pd.DataFrame([{"figure": "outputs", "coverage": 0.97, "resolution_s": 1.0}])
    frames = result.frames | {
        "interval.condition": conditions,
        "interval.source_run": runs,
        "interval.trip": result.frames["interval.trip"].iloc[:0],
        "measure.trip_context": result.frames["measure.trip_context"].iloc[:0],
        "measure.coverage": pd.concat([coverage, outputs], ignore_index=True),
    }
    judged = [
        replace(j, result="cannot tell", why="Not logged: the zones' calls.")
        if j.code == sample.CODE
        else j
        for j in result.judged
    ]
    return replace(result, frames=frames, judged=tuple(judged), findings=result.findings[1:])


def test_what_was_not_logged_is_never_none_or_zero() -> None:
    said = words(render_site(_uncalled()))
    # outputs alone still tell 2 h + 1 h of heat, 30 min of it in second stage
    assert "heat ran 3 h (30 min of it in second stage)" in said
    assert "limit trips: cannot tell here (not logged: the zones' calls)" in said
    assert "Limit trips: cannot tell here: not logged: the zones' calls." in said
    for wrong in ("no limit trip", "No limit trip", "0 limit trips", "No high-limit trip"):
        assert wrong not in said


def test_days_without_outputs_say_nothing_of_heat() -> None:
    result = _uncalled()
    bare = result.frames["interval.condition"].assign(w1=None, w2=None)
    said = words(render_site(replace(result, frames=result.frames | {"interval.condition": bare})))
    assert "what ran cannot be told" in said and "no heat ran" not in said


def test_no_trip_is_said_only_by_a_rule_that_judged() -> None:
    result = _uncalled()
    seen = [replace(j, result="not found") if j.code == sample.CODE else j for j in result.judged]
    said = words(render_site(replace(result, judged=tuple(seen))))
    assert "no limit trip was seen" in said and "No high-limit trip was seen" in said


def test_trip_rate_is_per_hour_in_the_same_state(page: str) -> None:
    # 1 trip in 7200 s = 2.0 h of zone 1 alone on second stage: 0.5 an hour
    row = re.search(r"<tr><th[^>]*>Main floor</th><td[^>]*>second stage.*?</tr>", words_raw(page))
    assert row and "2.0 h" in row.group(0) and "0.5" in row.group(0)


def test_clock_that_was_not_corrected_is_named_under_the_drawing(page: str) -> None:
    assert (
        "The clock of plenum runs 4 min ahead and was not corrected in this report: Supply air "
        "and Supply static drawn that much too late." in words(page)
    )


def test_a_blower_that_was_not_logged_is_said_to_be_inferred(page: str) -> None:
    """The sample's static tells of its own blower; 5 % is what is declared for that."""
    assert FAN["static_pressure"].time_frac == 0.05
    assert "when the blower ran is inferred from static itself, its time about ±5 %" in words(page)


def test_si_page_converts_numbers_and_uses_24_hours() -> None:
    page = render_site(sample.sample_result(units="si"))
    said = words(page)
    # 150 °F = (150 - 32) / 1.8 = 65.6 °C; 0.5 in. w.c. x 249.08891 = 124.5 Pa, written 125
    assert "65.6 °C" in said
    assert round(0.5 * PA_PER_INWC) == 125 and "125 Pa" in said
    assert (
        "06:05" in said
        and "in. w.c."
        not in Tags(page)
        .text.split("Methods, numbers")[0]
        .split("Duct static")[-1]
        .split("Limit trips")[0]
    )


def test_redacted_page_leaves_name_and_notes_out() -> None:
    page = render_site(sample.sample_result(redacted=True))
    for secret in ("1 Larch Lane", "it keeps shutting off", "Mrs Rowan"):
        assert secret not in page
    assert "larch-1" in page and "left out of this copy" in page


# ------------------------------------------------------------------ nothing missing may break it


def test_empty_result_makes_an_honest_page() -> None:
    page = render_site(sample.empty_result())
    said = words(page)
    assert "Cannot judge" in said and "Nothing was logged." in said
    for sentence in (
        "No picture of the whole log",
        "No runtime",
        "No cycles",
        "No static figures",
        "No trips to show",
        "No file was loaded",
        "No rule was run",
    ):
        assert sentence in said
    assert "<script" not in page and "script-src 'none'" in policy(page)
    assert not {"nan", "None", "<NA>", "NaT"} & set(said.split())


@pytest.mark.parametrize("name", sorted(sample.sample_result().frames))
def test_page_stands_without_any_one_table(name: str) -> None:
    result = sample.sample_result()
    frames = {k: v for k, v in result.frames.items() if k != name}
    said = words(render_site(replace(result, frames=frames)))
    assert "High-limit trips" in said
    assert not {"nan", "None", "<NA>", "NaT"} & set(said.split())


def test_empty_tables_read_as_missing_ones() -> None:
    result = sample.empty_result()
    bare = {k: v.iloc[:0] for k, v in sample.sample_result().frames.items()}
    assert render_site(replace(result, frames=bare)) == render_site(result)


def test_finding_whose_minutes_were_not_logged_says_so() -> None:
    result = sample.sample_result()
    frames = {k: v for k, v in result.frames.items() if not k.startswith("view.")}
    assert "Nothing was recorded in this stretch" in words(
        render_site(replace(result, frames=frames))
    )


# ------------------------------------------------------------------ nothing loads or runs


def test_policy_allows_only_the_two_scripts_on_the_page(page: str) -> None:
    allowed = policy(page)
    assert allowed.startswith("default-src 'none'; ") and "unsafe-eval" not in allowed
    own = page[page.rindex("<script>") + 8 : page.rindex("</script>")]
    hashes = re.findall(r"'sha256-([^']+)'", allowed)
    assert hashes == [
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for text in (own, opened(page, "lib"))
    ]


def test_no_attribute_or_style_loads_anything(page: str) -> None:
    for tag, attributes in Tags(page).tags:
        assert tag not in ("img", "iframe", "object", "embed", "link", "base", "form", "audio")
        for name, value in attributes.items():
            assert name not in ("src", "srcset", "action", "data", "poster", "xlink:href")
            assert not name.startswith("on")
            if name == "href":
                assert (value or "").startswith("#")
    for style in re.findall(r"<style>(.*?)</style>", page, re.S):
        assert "url(" not in style and "@import" not in style


def test_every_link_inside_the_page_has_its_place(page: str) -> None:
    tags = Tags(page).tags
    ids = [a["id"] for _, a in tags if "id" in a]
    assert len(ids) == len(set(ids))
    assert {a["href"] for t, a in tags if t == "a"} <= {f"#{i}" for i in ids}
    for _, attributes in tags:
        for key in (attributes.get("aria-labelledby") or "").split():
            assert key in ids


def test_mode_bar_sends_nothing_anywhere(page: str) -> None:
    config = figures(page)["config"]
    assert config["showSendToCloud"] is False and config["displaylogo"] is False
    assert [b for group in config["modeBarButtons"] for b in group] == [
        "toImage", "zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d",
    ]  # fmt: skip


def test_library_is_the_version_plotly_for_python_carries(page: str) -> None:
    head = opened(page, "lib")[:300]
    assert f"v{get_plotlyjs_version()}" in head and "MIT license" in head
    assert LIBRARY == "plotly-basic.min.js" and "basic" in head


HOSTILE = (
    "</script><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'onmouseover='alert(1)",
    "<b>%{y}</b>{{ 7*7 }}{% raw %}",
    "a\u202etxt.exe\u2066\x00\x1b[31m",
    "-->]]><!--",
    '=HYPERLINK("http://example.invalid")',
    "x" * 10_000,
)


def hostile_result(name: str) -> SiteResult:
    result = sample.sample_result()
    frames = dict(result.frames)
    frames["channel.channel"] = frames["channel.channel"].assign(column_name=name, logger=name)
    frames["store.file"] = frames["store.file"].assign(path=name, timezone=name)
    frames["store.reject"] = frames["store.reject"].assign(text=name, reason=name)
    frames["trust.gap"] = frames["trust.gap"].assign(reason=name)
    finding = replace(
        result.findings[0],
        title=name,
        summary=name,
        causes=(RankedCause(name, name),),
        checks=(name,),
        table=(("When", (name,)),),
        windows=(
            replace(
                result.findings[0].windows[0],
                title=name,
                marks=tuple(replace(m, label=name) for m in result.findings[0].windows[0].marks),
                spans=tuple(replace(s, label=name) for s in result.findings[0].windows[0].spans),
                lines=(("supply_temp", 150.0, name),),
            ),
        ),
    )
    site: SiteInfo = replace(result.site, name=name, zones={1: name, 2: name}, complaint=name)
    verdict = replace(result.verdict, sentence=name, how_sure=name)
    return replace(result, site=site, verdict=verdict, findings=(finding,), frames=frames)


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_stays_text(name: str, page: str) -> None:
    attacked = render_site(hostile_result(name))
    tags = [t for t, _ in Tags(attacked).tags]
    assert tags.count("script") == [t for t, _ in Tags(page).tags].count("script") == 4
    assert set(tags) <= {t for t, _ in Tags(page).tags}
    test_no_attribute_or_style_loads_anything(attacked)
    assert "alert(1)</script>" not in attacked and "49" not in Tags(attacked).text.split("Read")[0]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00\x1b]", attacked)
    assert len(attacked) < len(page) + 400_000  # ten thousand letters are cut, not repeated


def test_hostile_names_reach_plotly_escaped() -> None:
    made = figures(render_site(hostile_result('<b>x</b><a href="https://x.invalid">y</a>')))
    text = json.dumps(made["high-limit-trips-1"]["layout"])
    assert "&lt;b&gt;x" in text and "<a href" not in text
    for trace in made["high-limit-trips-1"]["data"]:
        assert "<" not in trace.get("name", "") and "hovertemplate" not in trace


# ------------------------------------------------------------------ the file


def test_same_result_gives_the_same_bytes() -> None:
    assert render_site(sample.sample_result()) == render_site(sample.sample_result())


def test_page_without_its_library_is_light(page: str) -> None:
    # two days, three channels: what is left beside the library is text, tables and drawings
    assert len(page.encode()) - len(script_text(page, "lib")) < 250_000


def test_every_block_is_on_the_page_once(page: str) -> None:
    keys = [render(Model(sample.sample_result())).key for render in BLOCKS]
    assert len(keys) == len(set(keys))
    for key in keys:
        assert page.count(f'<section id="{key}"') == 1
