"""In which order the printed bars are played: repeats, endings, D.C., D.S., coda and fine.

The rules are MusicXML's (4.0, types ``repeat``, ``ending`` and ``sound``), at the level of
whole bars: a sign acts at the end of the bar that it stands in, a target (segno, coda, repeat
to the right) at its start. Where MusicXML is silent, common practice:

- a repeat to the left without a partner goes back to the last repeat's end, or to the start;
- a repeat to the right that nothing closes is played once;
- after D.C. or D.S. repeats already played are not played again and the last ending is taken,
  unless the sign says ``after-jump``; a stretch that is new (the coda) keeps its repeats;
- *To Coda* and *Fine* count only after a jump; each jump is taken once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from arrange.errors import ReadError
from arrange.limits import MOST_MEASURES


@dataclass(frozen=True)
class Bar:
    """What one printed bar says about the order of playing.

    Parameters
    ----------
    forward : bool
        A repeat sign to the right at its start.
    backward : int
        How often the stretch that ends here is played in all; 0 without a repeat sign.
    after_jump : bool
        The repeat is played after D.C. or D.S. as well.
    ending_starts : tuple of int
        Times round at which the ending that starts here is played.
    ending_stops : bool
        An ending stops at the end of this bar.
    segno, coda : str
        Name of the sign at its start, or empty.
    dal_segno, to_coda : str
        Name of the sign that the jump at its end goes to, or empty.
    da_capo, fine : bool
    times : tuple of int
        Times round at which the jump or fine of this bar counts; empty for the usual rule.
    """

    forward: bool = False
    backward: int = 0
    after_jump: bool = False
    ending_starts: tuple[int, ...] = ()
    ending_stops: bool = False
    segno: str = ""
    coda: str = ""
    dal_segno: str = ""
    to_coda: str = ""
    da_capo: bool = False
    fine: bool = False
    times: tuple[int, ...] = ()


@dataclass
class _Ending:
    block: _Block
    times: tuple[int, ...]
    last: int


@dataclass
class _Block:
    """A stretch between two repeat signs, with its endings."""

    start: int
    passes: int = 1
    after_jump: bool = False
    endings: list[_Ending] = field(default_factory=list)

    @property
    def ending_times(self) -> set[int]:
        return {time for ending in self.endings for time in ending.times}


def playing_order(bars: Sequence[Bar]) -> list[int]:
    """Return the indices of the bars in the order in which they are played.

    Raises
    ------
    ReadError
        If the signs ask for more than ``MOST_MEASURES`` bars.
    """
    blocks, closing, endings = _blocks(bars)
    starting: dict[int, list[_Block]] = {}
    for block in blocks:
        starting.setdefault(block.start, []).append(block)
    jumps_written = any(bar.dal_segno or bar.da_capo for bar in bars)

    order: list[int] = []
    played = [0] * len(bars)  # how often each bar has been played
    taken: set[int] = set()  # bars whose jump has been taken
    time_round = {id(block): 1 for block in blocks}
    jumped = False
    back_to: int | None = None  # set while a repeat has just gone back to there
    index = 0
    while index < len(bars):
        for block in starting.get(index, []) if back_to != index else []:
            fresh = not jumped or not played[index] or block.after_jump
            time_round[id(block)] = 1 if fresh else block.passes
        back_to = None
        skip = [e for e in endings[index] if time_round[id(e.block)] not in e.times]
        if skip:
            index = max(ending.last for ending in skip) + 1
            continue

        bar = bars[index]
        order.append(index)
        played[index] += 1
        if len(order) > MOST_MEASURES:
            raise ReadError(
                f"the repeats ask for more than {MOST_MEASURES} bars; repeat less often, "
                "or read the page order with played=False"
            )
        time = played[index]
        closed = closing.get(index)
        if closed is not None and time_round[id(closed)] < closed.passes:
            time_round[id(closed)] += 1
            index = back_to = closed.start
        elif bar.fine and (time in bar.times if bar.times else jumped):
            break
        elif bar.to_coda and (
            time in bar.times if bar.times else jumped if jumps_written else time == 2
        ):
            index = _target(bars, "coda", bar.to_coda, index + 1)
        elif (bar.dal_segno or bar.da_capo) and (
            time in bar.times if bar.times else index not in taken
        ):
            taken.add(index)
            jumped = True
            index = _target(bars, "segno", bar.dal_segno, 0) if bar.dal_segno else 0
            for block in blocks:
                time_round[id(block)] = 1 if block.after_jump else block.passes
        else:
            index += 1
    return order


def _target(bars: Sequence[Bar], sign: str, name: str, otherwise: int) -> int:
    """Return the bar with the sign of that name, else with any such sign, else `otherwise`."""
    signs = [getattr(bar, sign) for bar in bars]
    if name in signs:
        return signs.index(name)
    return next((index for index, sign in enumerate(signs) if sign), otherwise)


def _blocks(
    bars: Sequence[Bar],
) -> tuple[list[_Block], dict[int, _Block], list[list[_Ending]]]:
    """Match the repeat signs.

    Returns the blocks, the block that each repeat to the left closes, and the endings that
    each bar lies under.
    """
    blocks = [_Block(0)]
    stack = [blocks[0]]  # open blocks, the innermost last; stack[0] is there without a sign
    closing: dict[int, _Block] = {}
    endings: list[list[_Ending]] = [[] for _ in bars]
    open_endings: list[_Ending] = []

    def close(next_start: int) -> None:
        if len(stack) > 1:
            stack.pop()
        else:
            stack[0] = _Block(next_start)
            blocks.append(stack[0])

    for index, bar in enumerate(bars):
        if bar.forward:
            stack.append(_Block(index))
            blocks.append(stack[-1])
        if bar.ending_starts:
            while len(stack) > 1 and stack[-1].ending_times & set(bar.ending_starts):
                stack.pop()  # these times have been: the ending belongs further out
            ending = _Ending(stack[-1], bar.ending_starts, index)
            stack[-1].endings.append(ending)
            open_endings.append(ending)
        for ending in open_endings:
            ending.last = index
            endings[index].append(ending)

        more_follow = index + 1 < len(bars) and bool(bars[index + 1].ending_starts)
        block = stack[-1]
        inside = [ending for ending in endings[index] if ending.block is block]
        if bar.backward:
            closing[index] = block
            block.after_jump |= bar.after_jump
            if not inside:
                block.passes = max(block.passes, bar.backward)
            elif len(block.endings) == 1 and not more_follow:
                block.passes = max(block.ending_times) + 1
        if inside:
            block.passes = max(block.passes, *block.ending_times)
        if bar.ending_stops and open_endings:
            open_endings.pop()
        over = bar.backward or (inside and bar.ending_stops)
        if over and not (inside and more_follow):
            close(index + 1)
    return blocks, closing, endings
