"""What the view of layers says: the grid's frame, its cells, and the figures around it, as HTML."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from arrange.condensing.problem import Problem
from arrange.live.layers.figures import Figures, SectionFigures
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import NOBODY, Shares
from arrange.text.markup import escape_html
from arrange.text.words import counted, first_up, listed

_CLOSE = 0.05  # seconds, shown as none
_MOST_ROWS = 6  # of a list
ROWS = {
    "worth": "Worth, of all layers",
    "less": "Against the best",
    "hands": "Hands",
    "clashes": "Clashes, as recorded",
    "fullness": "Fullness: recording, players",
    "lost": "Not played",
}


def letters(names: Sequence[str]) -> list[str]:
    """Return a short sign for each player: the first letter, else initials, else a number."""
    firsts = [name.strip()[:1].upper() for name in names]
    initials = ["".join(word[0] for word in name.split()).upper()[:3] for name in names]
    for signs in (firsts, initials):
        if len(set(signs)) == len(names) and all(signs):
            return signs
    return [str(number) for number in range(1, len(names) + 1)]


def frame_html(results: LayersResults) -> str:
    """Return all that stays: the controls, the grid without what is shared out, places for words.

    A control says what it does by ``data-do``; a place is found by ``data-part``.
    """
    players = [player.name for player in results.problem.lineup.players]
    scopes = [("all", "everything that is not kept"), ("section", "this section")]
    scopes += [(str(number), f"what {name} plays") for number, name in enumerate(players)]
    options = "".join(
        f'<option value="{value}">{escape_html(words)}</option>' for value, words in scopes
    )
    return (
        '<div class="row">'
        + _button("undo", "Undo")
        + _button("redo", "Redo")
        + '<label>Best from here, changing <select data-field="scope">'
        + f"{options}</select></label>"
        + _button("search", "Find")
        + _button("compare", "Compare with the best", 'aria-pressed="false"')
        + _button("best", "Take the best")
        + '</div><div class="totals" role="status" data-part="totals"></div>'
        + f'<div class="frame">{_table(results)}</div>'
        + f'<p class="keys">{_keys(players)}</p>'
        + '<p class="keys" data-part="progress"></p><div data-part="troubles"></div>'
        + '<div role="status" data-part="words"></div><div data-part="section"></div>'
        + '<div class="row"><span>Hear this section:</span>'
        + _button("mine", "Mine")
        + _button("optimum", "The best")
        + _button("recording", "The recording")
        + _button("each", "One after the other")
        + '<audio controls aria-label="Sound of the section" data-part="sound"></audio></div>'
        + '<div class="row"><label class="wide">Why <input data-field="why" '
        + 'placeholder="the reason, for the log"></label>'
        + _button("record", "Record the decision")
        + '</div><div data-part="log"></div>'
    )


def _button(do: str, words: str, more: str = "") -> str:
    return f'<button type="button" data-do="{do}" {more}>{escape_html(words)}</button>'


def _keys(players: Sequence[str]) -> str:
    numbers = listed(f"{number} gives it to {name}" for number, name in enumerate(players, 1))
    return escape_html(
        "Press a cell to give its layer to the next player. With the keyboard: arrows move, Enter "
        f"gives to the next, {numbers}, 0 to nobody. Compared, ≠ names whom the best gives it to; "
        "–, nobody. Worth is counted in seconds in which lines, chord members, attacks and the "
        "highest line are heard, less what makes it hard or unclear. Fullness is a share of the "
        "fullest that all layers, and that your players, can be."
    )


def _table(results: LayersResults) -> str:
    problem, recorded = results.problem, results.problem.recorded
    drawn, roles = _activity(problem), problem.criteria.roles["role"].tolist()
    heads = "".join(
        f'<th scope="col"><button type="button" data-do="go" tabindex="-1" '
        f'data-section="{number}">'
        f"{escape_html(name)}</button></th>"
        for number, name in enumerate(recorded.sections)
    )
    rows = []
    for layer, name in enumerate(recorded.names):
        about = f"{roles[layer]} · {recorded.parts['family'].iloc[layer]}"
        cells = "".join(
            f'<td><button type="button" data-cell="{section}-{layer}" data-do="next" '
            f'data-section="{section}" data-layer="{layer}" tabindex="-1">{drawn[layer][section]}'
            '<span class="who"></span></button></td>'
            for section in range(len(recorded.sections))
        )
        rows.append(
            f'<tr><th scope="row">{escape_html(name)}<small>{escape_html(about)}</small></th>'
            f"{cells}</tr>"
        )
    foot = "".join(
        f'<tr><th scope="row">{words}</th>'
        + "".join(
            f'<td data-part="{row}-{section}"></td>' for section in range(len(recorded.sections))
        )
        + "</tr>"
        for row, words in ROWS.items()
    )
    return (
        '<table><caption class="unseen">Layers by sections: who plays what</caption>'
        f"<thead><tr><td></td>{heads}</tr></thead><tbody>{''.join(rows)}</tbody>"
        f"<tfoot>{foot}</tfoot></table>"
    )


def _activity(problem: Problem) -> list[list[str]]:
    """For each layer and section its attacks bar by bar, drawn."""
    recorded = problem.recorded
    played = np.flatnonzero(recorded.is_played)
    bars = len(recorded.song.measures)
    struck = np.unique(recorded.layer[played] << 40 | recorded.place[played], return_index=True)[1]
    cell = recorded.layer[played] * bars + recorded.measure[played] - 1
    counts = np.bincount(cell[struck], minlength=len(recorded.names) * bars).reshape(-1, bars)
    height = np.rint(20 * np.sqrt(counts / max(int(counts.max(initial=0)), 1))).astype(int)
    table = recorded.song.sections
    spans = list(zip(table["first_measure"] - 1, table["last_measure"], strict=True))
    return [[_bars(height[layer, a:b]) for a, b in spans] for layer in range(len(height))]


def _bars(heights: np.ndarray) -> str:
    path = "".join(
        f"M{4 * place} 20v{-tall}h3v{tall}z" for place, tall in enumerate(heights.tolist()) if tall
    )
    if not path:
        return ""
    return (
        f'<svg viewBox="0 0 {4 * len(heights)} 20" preserveAspectRatio="none" aria-hidden="true">'
        f'<path d="{path}"/></svg>'
    )


def cells(results: LayersResults, shares: Shares, compared: bool) -> dict[str, list[str]]:
    """Return for each cell its class, its sign, what it is called, and whether anybody has it."""
    problem, found = results.problem, {}
    names, sections = problem.recorded.names, problem.recorded.sections
    players = [player.name for player in problem.lineup.players]
    signs, best = letters(players), Shares(results.optimum)
    for section, worth in enumerate(problem.worths):
        for layer, name in enumerate(names):
            key, words = f"{section}-{layer}", f"{name}, {sections[section]}: "
            if layer not in worth.layers:
                found[key] = ["silent", "", f"{words}does not play", "false"]
                continue
            who = shares.holder(section, layer)
            words += players[who] if who != NOBODY else "nobody"
            sign, kind = signs[who] if who != NOBODY else "", f"player-{who % 4}"
            if (section, who) in shares.kept:
                kind, words = f"{kind} kept", f"{words}, kept"
            banned = [each for each in range(len(players)) if (section, each, layer)
                      in shares.forbidden]  # fmt: skip
            if banned:
                words += f", not for {listed(players[each] for each in banned)}"
                sign += "".join(f" ×{signs[each]}" for each in banned)
            there = best.holder(section, layer)
            if compared and there != who:
                kind += " other"
                words += f"; the best: {players[there] if there != NOBODY else 'nobody'}"
                sign += f" ≠{signs[there] if there != NOBODY else '–'}"
            kind = (
                kind
                if who != NOBODY
                else kind.replace("player--1", "nobody").replace(f"player-{who % 4}", "nobody")
            )
            found[key] = [kind, sign, words, str(who != NOBODY).lower()]
    return found


def foot_parts(figures: Figures, best: Figures) -> dict[str, str]:
    """Return what stands below each section."""
    found: dict[str, str] = {}
    wrong = {each.section for each in figures.troubles}
    trying = figures.untried
    for number, (own, top) in enumerate(zip(figures.sections, best.sections, strict=True)):
        hands = "cannot" if number in wrong else "trying" if number in trying else "can"
        less = own.value - top.value
        cell = {
            "worth": _with_minus(f"{own.share:.0%}"),
            "less": signed_seconds(less) if abs(less) >= _CLOSE else "the same",
            "hands": f"<b>{hands}</b>" if hands == "cannot" else hands,
            "clashes": str(len(own.clashes)),
            "fullness": _fullness(own),
            "lost": counted(own.lost, "layer") if own.lost else "none",
        }
        found |= {f"{row}-{number}": text for row, text in cell.items()}
    return found


def signed_seconds(value: float) -> str:
    """Return more or less of a worth."""
    return _with_minus(f"{value:+.1f} s")


def _with_minus(number: str) -> str:
    return number.replace("-", "−")


def _fullness(own: SectionFigures) -> str:
    bars = "".join(
        f'<i class="{kind}" style="width:{100 * min(share, 1):.0f}%"></i>'
        for kind, share in (("recorded", own.recorded), ("played", own.played))
    )
    words = f"{own.recorded:.0%}, {own.played:.0%}"
    return f"{bars}{words}{' <b>thinner</b>' if own.is_behind else ''}"


def totals_html(results: LayersResults, shares: Shares, figures: Figures, best: Figures) -> str:
    """Return the whole in words: worth, how far from the best, where it differs."""
    less = best.plan.value - figures.plan.value
    proven = (
        "no choice can be worth more"
        if results.best.is_proven
        else (f"at most {results.best.gap:.1%} more could be possible")
    )
    said = [
        f"Worth {figures.plan.value:.1f} s, {figures.share:.0%} of what all layers together are "
        f"worth. The best that hands can play: {best.plan.value:.1f} s; {proven}."
    ]
    many = [
        f"{len(worth.kept)} of {len(worth.layers)} in {name}"
        for name, worth in zip(
            results.problem.recorded.sections, results.best.known.problem.worths, strict=True
        )
        if len(worth.kept) < len(worth.layers)
    ]
    if many and not results.best.is_proven:
        said.append(
            f"To find it not all layers were weighed, but those that matter most: {listed(many)}."
        )
    if shares.taken == results.optimum:
        said.append("This is the best.")
    else:
        there = sorted({section for section, _ in shares.differing(results.optimum)})
        where = listed(results.problem.recorded.sections[section] for section in there)
        amount = (
            f"{abs(less):.1f} s {'less' if less > 0 else 'more'}"
            if abs(less) >= _CLOSE
            else ("worth the same")
        )
        said.append(f"This is {amount}; it differs in {where}.")
    clashes = sum(len(own.clashes) for own in figures.sections)
    behind = [name for name, own in zip(results.problem.recorded.sections, figures.sections,
                                        strict=True) if own.is_behind]  # fmt: skip
    findings = counted(clashes, "finding") if clashes else "No finding"
    said.append(f"{findings} between the layers of different players.")
    if behind:
        said.append(f"Thinner than before, though the recording is not: {listed(behind)}.")
    return f"<p>{escape_html(' '.join(said))}</p>"


def troubles_html(figures: Figures) -> str:
    """Return why it cannot be played as it is."""
    if not figures.troubles:
        return ""
    rows = "".join(f"<li>{escape_html(each.why)}</li>" for each in figures.troubles)
    return f'<div class="problem"><b>Cannot be played so:</b><ul>{rows}</ul></div>'


def section_html(
    results: LayersResults,
    shares: Shares,
    figures: Figures,
    at: tuple[int, int],
    details: dict[int, list[str]],
) -> str:
    """Return a section in words: what each player has and why, what is lost, where it clashes.

    `details` are further sentences by player.
    """
    section, layer = at
    own, problem = figures.sections[section], results.problem
    words = results.section_words(shares, figures, section)
    first, last = results.bars[section]
    wrong = {(each.section, each.player) for each in figures.troubles}
    title = f"{problem.recorded.sections[section]}, bars {first} to {last}"
    each = "".join(
        _player_html(
            results,
            shares,
            words.choices[player]["reason"],
            (section, layer, player),
            details.get(player, []),
            is_wrong=(section, player) in wrong,
        )
        for player in range(len(problem.lineup.players))
    )
    rows = [
        f"<b>{escape_html(one['layer'])}</b>: {escape_html(_loss_words(one))}" for one in words.lost
    ]
    clashes = [
        f"<b>bar {one['measure']}, {escape_html(one['kind'])}</b>: {escape_html(one['why'])}"
        for one in own.clashes
    ]
    return (
        f"<h3>{escape_html(title)}</h3><p>{escape_html(_terms_words(own))}</p>{each}"
        f'<div class="lists"><div><h4>Not played here</h4>{_list(rows)}</div>'
        f"<div><h4>Clashes between their layers, as recorded</h4>{_list(clashes)}</div></div>"
    )


def _list(rows: Sequence[str]) -> str:
    if not rows:
        return "<p>None.</p>"
    more = f"<li>and {len(rows) - _MOST_ROWS} more</li>" if len(rows) > _MOST_ROWS else ""
    return f"<ul>{''.join(f'<li>{row}</li>' for row in rows[:_MOST_ROWS])}{more}</ul>"


def _loss_words(lost: dict[str, Any]) -> str:
    where = f", bars {lost['measures']}" if lost["measures"] else ""
    worth = f"{lost['value']:.1f} s, " if lost["value"] >= _CLOSE else ""
    why = f"; {lost['why']}" if lost["why"] else ""
    return f"{worth}{lost['what']}{where}{why}"


def _terms_words(own: SectionFigures) -> str:
    costs = {"merging": "two lines in one hand", "changes": "changes from the section before",
             "clash": "clashes", "instrument": "sound and capo", "swapped": "layers that change "
             "hands", "thinner": "thinner than before", "growth": "full too soon, for how the "
             "recording grows"}  # fmt: skip
    taken = [f"{words} {-own.terms[term]:.1f} s" for term, words in costs.items()
             if own.terms[term] < -_CLOSE]  # fmt: skip
    off = f"; taken off: {listed(taken)}" if taken else ""
    return f"Worth {_with_minus(f'{own.value:.1f} s')} of {own.of_all:.1f} s{off}."


def _player_html(
    results: LayersResults,
    shares: Shares,
    reason: str,
    place: tuple[int, int, int],
    details: list[str],
    *,
    is_wrong: bool,
) -> str:
    section, layer, player = place
    problem = results.problem
    name = problem.lineup.players[player].name
    takes = problem.name(shares.taken[section][player])
    said = [f"{takes} cannot be played so"] if is_wrong else [reason]
    if is_wrong and details:
        said = []
    sentences = first_up("; ".join([*said, *details]))
    sign = letters([each.name for each in problem.lineup.players])[player]
    kept = (section, player) in shares.kept
    keep = _button(
        "keep", f"Keep this for {name}",
        f'data-player="{player}" aria-pressed="{str(kept).lower()}"',
    )  # fmt: skip
    forbid = ""
    if layer in problem.worths[section].layers:
        banned = (section, player, layer) in shares.forbidden
        forbid = _button(
            "forbid", f"{problem.recorded.names[layer]} is not for {name} here",
            f'data-player="{player}" aria-pressed="{str(banned).lower()}"',
        )  # fmt: skip
    return (
        f'<div class="player"><span class="sign player-{player % 4}">{escape_html(sign)}</span>'
        f"<p><b>{escape_html(name)}: {escape_html(takes)}</b>. {escape_html(sentences)}.</p>"
        f"{keep}{forbid}</div>"
    )


def shares_words(problem: Problem, shares: Shares) -> str:
    """Return who plays what, section by section, in words."""
    return "; ".join(_shares_words(problem, shares))


def _shares_words(problem: Problem, shares: Shares) -> Iterator[str]:
    for name, chosen in zip(problem.recorded.sections, shares.taken, strict=True):
        each = [
            f"{player.name} {problem.name(option)}"
            for player, option in zip(problem.lineup.players, chosen, strict=True)
            if option
        ]
        yield f"{name}: {', '.join(each) or 'nobody'}"
