"""A report as a page of its own, and as a card in a notebook. Names in it are a stranger's: they
are made harmless."""

from collections.abc import Sequence
from html import escape

from rigkit import page, stage
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.report import FINDING, PASS, UNMEASURED, Finding, Report
from rigkit.inspection.rule import SEVERITIES

SEVERITY_SAYS = {
    "serious": "the rig breaks",
    "moderate": "it moves or looks wrong",
    "slight": "harder to work with",
}
MOST_PARTS = 8


def document(report: Report) -> str:
    """The whole report as a page: complete in itself, no script, for light and dark."""
    title = f"Inspection of {page.safe(report.file, 200)}" if report.file else "Inspection"
    groups = [("Findings", FINDING), ("Passed", PASS), ("Not measured", UNMEASURED)]
    body = [
        f"<header><h1>{title}</h1>{_summary(report)}</header>",
        "<h2>What was taken for what</h2>",
        _taken(report),
    ]
    for name, status in groups:
        found = report.of(status)
        if status == UNMEASURED and found:
            body += [
                f"<h2>{name}</h2>",
                *(_silent(why, group) for why, group in report.unmeasured().items()),
            ]
        elif found:
            body += [f"<h2>{name}</h2>", *(_FULL[status](finding) for finding in found)]
    body.append(
        "<footer><p>Each rule's limit is stated with its reason; set another with <code>--threshold"
        " RULE=VALUE</code>. What was taken for what is corrected with <code>--map"
        " left.knee=NAME</code>.</p></footer>"
    )
    return page.document(title, "\n".join(body), STYLE)


def card(report: Report) -> str:
    """The report for a notebook: the headline, what was found with its pictures, the rest folded
    away."""
    found = "".join(_finding(finding) for finding in report.of(FINDING))
    rest = "".join(
        [
            *(f"<li>{_line(finding)}</li>" for finding in report.of(PASS)),
            *(f"<li>{_silent(why, group)}</li>" for why, group in report.unmeasured().items()),
        ]
    )
    return (
        f'<section class="inspection" aria-label="Inspection"><style>{stage.STYLE}{_CARD}</style>'
        f"<p><strong>{page.safe(report.headline)}.</strong></p>{found}"
        f"<details><summary>What was taken for what</summary>{_taken(report)}</details>"
        f"<details><summary>Passed, and not measured</summary><ul>{rest}</ul></details></section>"
    )


def _summary(report: Report) -> str:
    counts = [
        (len([f for f in report.of(FINDING) if f.severity == severity]), severity)
        for severity in SEVERITIES
    ]
    tiles = [
        f'<li class="{severity}"><b>{count}</b>{severity}<small>{SEVERITY_SAYS[severity]}</small></li>'
        for count, severity in counts
        if count
    ]
    tiles.append(f'<li class="pass"><b>{len(report.of(PASS))}</b>passed</li>')
    if report.of(UNMEASURED):
        tiles.append(f"<li><b>{len(report.of(UNMEASURED))}</b>not measured</li>")
    return (
        f'<p class="head">{page.safe(report.headline)}.</p><ul class="tiles">{"".join(tiles)}</ul>'
    )


def _taken(report: Report) -> str:
    legs = report.legs
    notes = "".join(f"<li>{page.safe(note)}</li>" for note in report.notes)
    notes = f"<p>Not read from the file:</p><ul>{notes}</ul>" if notes else ""
    if not legs.legs:
        return f"<p>No legs were found: {page.safe(legs.because['legs'])}.</p>{notes}"
    rows = "".join(
        f'<tr><th scope="row">{SIDE_WORDS[side]}'
        f" {part}</th><td><bdi>{escape(report.name(node))}</bdi></td><td"
        f' class="n">{100 * leg.certainty[part]:.0f} %</td><td>{escape(leg.why[part])}</td></tr>'
        for side, leg in legs.legs.items()
        for part, node in leg.joints.items()
    )
    pelvis = (
        ""
        if legs.pelvis is None
        else f"The pelvis is <bdi>“{escape(report.name(legs.pelvis))}”</bdi>. "
    )
    helpers = ", ".join(f"<bdi>{escape(report.name(node))}</bdi>" for node in legs.helpers[:12])
    more = f" and {len(legs.helpers) - 12} more" if len(legs.helpers) > 12 else ""
    helpers = f"<p>No part of the legs: {helpers}{more}.</p>" if helpers else ""
    axes = [line for line in report.taken() if line.startswith(("up ", "in ", "glTF"))]
    return (
        f"<p>{page.safe(legs.because['legs'])}. {pelvis}</p>"
        '<div class="wide" role="region" aria-label="Joints" tabindex="0"><table><thead><tr>'
        '<th scope="col">Part</th><th scope="col">Joint</th><th scope="col" class="n">Certain</th>'
        f'<th scope="col">Why</th></tr></thead><tbody>{rows}</tbody></table></div>{helpers}'
        f"<ul>{''.join(f'<li>{page.safe(line)}</li>' for line in axes)}</ul>{notes}"
    )


def _finding(finding: Finding) -> str:
    picture = finding.picture
    drawn = (
        f'<figure class="drawn">{picture.svg(style=False)}</figure>' if picture is not None else ""
    )
    return (
        f'<article class="said {finding.severity}"><div><h3>{page.safe(finding.title)}</h3><p'
        f' class="rule"><span class="mark">{finding.severity}</span>'
        f" <code>{finding.rule}</code>{_about(finding)}</p><p"
        f' class="number">{_number(finding)}</p><p>{page.safe(finding.said)}</p><p><b>Why it'
        f" matters.</b> {page.safe(finding.why)}</p><p><b>What to do.</b>"
        f" {page.safe(finding.todo)}</p>{_more(finding)}</div>{drawn}</article>"
    )


def _passed(finding: Finding) -> str:
    picture = finding.picture
    drawn = (
        f'<figure class="drawn">{picture.svg(style=False)}</figure>' if picture is not None else ""
    )
    return (
        f'<details class="passed"><summary>{_line(finding)}</summary><div class="said'
        f' pass"><div><p>{page.safe(finding.said)}</p><p><b>Why it matters.</b>'
        f" {page.safe(finding.why)}</p>{_more(finding)}</div>{drawn}</div></details>"
    )


def _silent(why: str, findings: Sequence[Finding]) -> str:
    """The rules that could not apply for one reason."""
    rules = ", ".join(f"{page.safe(finding.title)}{_about(finding)}" for finding in findings)
    return f"<p><b>{page.safe(why)}</b> {rules}.</p>"


_FULL = {FINDING: _finding, PASS: _passed}


def _line(finding: Finding) -> str:
    return (
        f"<b>{page.safe(finding.title)}</b>{_about(finding)}: <span"
        f' class="n">{_number(finding)}</span>'
    )


def _number(finding: Finding) -> str:
    measured, _, limit = finding.measured.partition(" (")
    return f"<b>{escape(measured)}</b> <span>({escape(limit)}</span>"


def _about(finding: Finding) -> str:
    return f" in <bdi>“{page.safe(finding.about, 80)}”</bdi>" if finding.about else ""


def _more(finding: Finding) -> str:
    """The numbers one by one, and why the limit is what it is."""
    parts = sorted(
        finding.parts, key=lambda part: -abs(part[1]) if finding.sense == "at most" else part[1]
    )
    rows = "".join(
        f'<tr><th scope="row"><bdi>{page.safe(what, 120)}</bdi></th><td'
        f' class="n">{number:.3g}</td></tr>'
        for what, number in parts[:MOST_PARTS]
    )
    more = f"<p>and {len(parts) - MOST_PARTS} more</p>" if len(parts) > MOST_PARTS else ""
    table = (
        '<table><thead><tr><th scope="col">One by one</th><th scope="col"'
        f' class="n">{escape(finding.unit)}</th></tr></thead><tbody>{rows}</tbody></table>{more}'
        if len(parts) > 1
        else ""
    )
    return (
        f"<details><summary>Numbers, and the reason for the limit</summary>{table}<p>The limit,"
        f" {finding.sense} {escape(finding.measured.partition(finding.sense + ' ')[2][:-1])}:"
        f" {page.safe(finding.because)}.</p></details>"
    )


def _vars(dark: bool) -> str:
    inks = {name: pair[dark] for name, pair in stage.INKS.items()}
    paper, edge, middle = (
        ("#16191d", "#3a4149", "#f0c34a") if dark else ("#ffffff", "#d5dade", "#8a5a00")
    )
    return (
        f"--page:{paper};--rig-paper:{paper};--ground:{inks['floor']};--edge:{edge};--ink:{inks['ink']};"
        f"--soft:{inks['soft-text']};--link:{inks['inverse-text']};--good:{inks['goal-text']};"
        f"--serious:{inks['miss-text']};--moderate:{inks['forward-text']};--slight:{middle}"
    )


_PARTS = (
    ".said{border-left:4px solid var(--edge);padding:.1rem 0 .1rem .9rem;margin:1.4rem"
    " 0;display:grid;gap:.4rem 1.5rem;break-inside:avoid}.said>*{min-width:0}.said"
    " h3{margin:0;font-size:1.15rem;line-height:1.3}.said.serious{border-color:var(--serious)}.said.moderate{border-color:var(--moderate)}.said.slight{border-color:var(--slight)}.said.pass{border-color:var(--good);margin:.6rem"
    " 0}.rule{color:var(--soft);font-size:.9rem}.serious .mark{color:var(--serious)}.moderate"
    " .mark{color:var(--moderate)}.slight"
    " .mark{color:var(--slight)}.mark{font-weight:700;text-transform:uppercase;font-size:.85em;letter-spacing:.04em}.number"
    " b{font-size:1.7rem;line-height:1.3;font-weight:650}.number span,summary .n"
    " span{color:var(--soft)}.drawn{margin:.3rem 0}"
)
STYLE = (
    ":root{"
    + _vars(False)
    + "}@media screen and (prefers-color-scheme:dark){:root{"
    + _vars(True)
    + "}}"
    + stage.STYLE
    + "body{font:16px/1.5"
    f" {stage.FONT};color:var(--ink);background:var(--page);max-width:62rem;margin:0"
    " auto;padding:1.5rem 1rem"
    " 4rem;overflow-wrap:anywhere;font-variant-numeric:tabular-nums}h1{font-size:1.9rem;line-height:1.2;margin:.2rem"
    " 0}h2{font-size:1.35rem;line-height:1.3;margin:2.5rem 0"
    " .6rem;padding-top:.9rem;border-top:1px solid var(--edge)}p{margin:.4rem"
    " 0}ul{margin:.4rem"
    " 0;padding-left:1.3rem}code{font-size:.94em;background:var(--ground);padding:0"
    " .25em;border-radius:3px}.head{font-size:1.15rem}.tiles{display:flex;flex-wrap:wrap;gap:.75rem;margin:1rem"
    " 0;padding:0;list-style:none}.tiles li{flex:0 1"
    " 9rem;background:var(--ground);border-radius:8px;padding:.5rem .9rem;border-top:3px solid"
    " var(--edge)}.tiles .serious{border-color:var(--serious)}.tiles"
    " .moderate{border-color:var(--moderate)}.tiles"
    " .slight{border-color:var(--slight)}.tiles .pass{border-color:var(--good)}.tiles"
    " b{display:block;font-size:1.8rem;line-height:1.2}.tiles"
    " small{display:block;color:var(--soft);line-height:1.3}"
    + _PARTS
    + "details{margin:.4rem 0}summary{cursor:pointer}.said"
    " summary{color:var(--link);font-size:.92rem}.passed{border-bottom:1px solid"
    " var(--ground);padding:.25rem"
    " 0}.passed>summary{font-size:1rem}.wide{overflow-x:auto}table{border-collapse:collapse;margin:.4rem"
    " 0;font-size:.95rem}th,td{padding:.2rem 1rem .2rem"
    " 0;text-align:left;vertical-align:top}thead"
    " th{color:var(--soft);font-size:.85rem;border-bottom:1px solid var(--edge)}tbody"
    " th{font-weight:400}.wide tbody th{white-space:nowrap}tbody tr+tr>*{border-top:1px solid"
    " var(--ground)}td.n,th.n{text-align:right;white-space:nowrap}footer{margin-top:3rem;color:var(--soft);font-size:.92rem}@media"
    " (min-width:46rem){.said{grid-template-columns:minmax(0,1fr)"
    " 420px}.said.pass{grid-template-columns:minmax(0,1fr) 420px}}@media"
    " print{body{max-width:none;padding:0;font-size:10.5pt}h2,h3{break-after:avoid}.said{grid-template-columns:minmax(0,1fr)"
    " 300px}}"
)
# In a notebook the page's own inks; a rule begins with .inspection, so that nothing else changes.
_CARD = "".join(
    f".inspection {rule}}}"
    for rule in (
        "{color:var(--jp-ui-font-color1,inherit)",
        (
            ".said{border-left:4px solid #888;padding:0 0 0 12px;margin:12px 0;"
            "display:flex;flex-wrap:wrap;gap:4px 16px;align-items:flex-start"
        ),
        ".said>div{flex:1 1 20em",
        ".drawn{flex:0 1 420px;margin:0",
        ".said.serious{border-color:#b00020",
        ".said.moderate{border-color:#d55e00",
        ".said.slight{border-color:#b87d00",
        "h3{margin:0;font-size:1.1em;line-height:1.3",
        "p{margin:4px 0",
        ".number b{font-size:1.6em",
        "summary{cursor:pointer;padding:3px 0",
    )
)
