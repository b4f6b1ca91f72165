"""In which order the printed bars are played: repeats, endings, D.C., D.S., coda and fine.

The rules are MusicXML's (4.0, types ``repeat``, ``ending`` and ``sound``), at the level of
whole bars: a sign acts at the end of the bar that it stands in, a target (segno, coda, repeat
to the right) at its start. Where MusicXML is silent, common practice:

- a repeat to the left without a partner goes back to the last repeat's end, or to the start;
- a repeat to the right that nothing closes is played once;
- after D.C. or D.S. repeats already played are not played again and the last ending is taken,
  unless the sign says ``after-jump``; a stretch that is new (the coda) keeps its repeats;
- *To Coda* and *Fine* count only after a jump; each jump is taken once;
- a repeat sign at the end of the last ending sends back once more, past all endings;
- where D.C. or D.S. meets a repeat to the left, the repeat comes first, unless the bar lies in an
  ending that is not played again;
- D.C. or D.S. marked for a time round that never comes is taken when the repeats are done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from arrange.errors import ReadError
from arrange.formats.notices import first_notices
from arrange.song_size import MOST_MEASURES


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
        Times round at which To Coda or Fine counts; empty for the usual rule.
    jump_times : tuple of int
        Times round at which D.C. or D.S. is taken; empty for once.
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
    jump_times: tuple[int, ...] = ()

    @property
    def jumps_back(self) -> bool:
        return self.da_capo or bool(self.dal_segno)


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
    last_back: int = -1  # the last bar that sends back to the start

    @property
    def ending_times(self) -> set[int]:
        return {time for ending in self.endings for time in ending.times}


@dataclass
class _Form:
    """What the repeat signs say, bar by bar."""

    blocks: list[_Block]
    closing: dict[int, _Block]  # the block that a repeat to the left closes
    endings: list[list[_Ending]]  # that each bar lies under
    around: dict[int, list[_Block]]  # that a bar with D.C. or D.S. lies in, the innermost last


def playing_order(
    bars: Sequence[Bar], numbers: Sequence[str] = (), notices: list[str] | None = None
) -> list[int]:
    """Return the indices of the bars in the order in which they are played.

    Parameters
    ----------
    bars : sequence of Bar
    numbers : sequence of str
        Their printed numbers, for messages; 1, 2, 3 ... without.
    notices : list of str, optional
        Jumps that could not be taken as written are added.

    Raises
    ------
    ReadError
        If the signs ask for more than ``MOST_MEASURES`` bars.
    """
    numbers = numbers or [str(number) for number in range(1, len(bars) + 1)]
    form = _form(bars)
    run = _Run(bars, form)
    run.play(numbers)
    late = frozenset(index for index in run.missed() if bars[index].jump_times)
    if late:  # their times round never come: now that this is known, once more
        run = _Run(bars, form, late)
        run.play(numbers)
    if notices is not None:
        notices += first_notices(_jump_notices(bars, numbers, run))
    return run.order


@dataclass
class _Run:
    """One way through the bars.

    Parameters
    ----------
    bars : sequence of Bar
    form : _Form
    late : set of int
        Bars whose D.C. or D.S. waits until the repeats are done.
    order : list of int
        The bars as played.
    """

    bars: Sequence[Bar]
    form: _Form
    late: frozenset[int] = frozenset()
    order: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.played = [0] * len(self.bars)  # how often each bar has been played
        self.used: dict[int, set[int]] = {}  # bar whose jump was taken -> the times it was for
        self.time_round = {id(block): 1 for block in self.form.blocks}
        self.jumped = False
        self.without_coda: set[int] = set()  # bars whose To Coda leads nowhere

    def missed(self) -> frozenset[int]:
        """Bars that are played and whose D.C. or D.S. is never taken."""
        return frozenset(
            index
            for index, bar in enumerate(self.bars)
            if bar.jumps_back and self.played[index] and index not in self.used
        )

    def play(self, numbers: Sequence[str]) -> None:
        """Fill the order.

        Raises
        ------
        ReadError
            If it gets longer than ``MOST_MEASURES``.
        """
        starting: dict[int, list[_Block]] = {}
        for block in self.form.blocks:
            starting.setdefault(block.start, []).append(block)
        jumps_written = any(bar.jumps_back for bar in self.bars)
        back_to: int | None = None  # set while a repeat has just gone back to there
        last_back: int | None = None  # the bar whose repeat sign was obeyed last
        index = 0
        while index < len(self.bars):
            for block in starting.get(index, []) if back_to != index else []:
                fresh = not self.jumped or not self.played[index] or block.after_jump
                self.time_round[id(block)] = 1 if fresh else block.passes
            back_to = None
            skip = [e for e in self.form.endings[index] if self._time(e.block) not in e.times]
            if skip:
                index = max(ending.last for ending in skip) + 1
                continue
            self.order.append(index)
            self.played[index] += 1
            if len(self.order) > MOST_MEASURES:
                raise _too_long(None if last_back is None else numbers[last_back])
            closed = self.form.closing.get(index)
            if closed is not None and self._goes_back(closed, index):
                self.time_round[id(closed)] += 1
                last_back, index = index, closed.start
                back_to = index
            elif self._is_fine(index):
                break
            elif self._is_to_coda(index, jumps_written):
                index = self._coda_behind(index)
            elif self._is_jump_due(index):
                index = self._jump(index)
            else:
                index += 1

    def _time(self, block: _Block) -> int:
        return self.time_round[id(block)]

    def _goes_back(self, block: _Block, index: int) -> bool:
        """Whether a repeat is obeyed before a D.C. or D.S. beside it, which is not lost so."""
        is_jump_lost = self._is_jump_due(index) and not self._returns(block, index)
        return self._time(block) < block.passes and not is_jump_lost

    def _returns(self, block: _Block, index: int) -> bool:
        """Return whether a later round of a block plays this bar again."""
        own = [ending.times for ending in self.form.endings[index] if ending.block is block]
        last = min((max(times) for times in own), default=block.passes)
        return index <= block.last_back and self._time(block) < min(last, block.passes)

    def _times(self, index: int) -> set[int]:
        """Which time this is: of playing the bar, and round the innermost repeat that it is in."""
        inside = [block for block in self.form.around[index] if block.passes > 1]
        return {self.played[index], *(self._time(block) for block in inside[-1:])}

    def _is_jump_due(self, index: int) -> bool:
        bar = self.bars[index]
        if not bar.jumps_back:
            return False
        if index in self.late:
            around = self.form.around[index]
            return index not in self.used and not any(self._returns(b, index) for b in around)
        if not bar.jump_times:
            return index not in self.used
        return bool(self._times(index) & set(bar.jump_times) - self.used.get(index, set()))

    def _jump(self, index: int) -> int:
        bar = self.bars[index]
        self.used.setdefault(index, set()).update(self._times(index))
        self.jumped = True
        for block in self.form.blocks:
            self.time_round[id(block)] = 1 if block.after_jump else block.passes
        return _place(self.bars, "segno", bar.dal_segno, 0) if bar.dal_segno else 0

    def _is_fine(self, index: int) -> bool:
        bar = self.bars[index]
        return bar.fine and (self.played[index] in bar.times if bar.times else self.jumped)

    def _is_to_coda(self, index: int, jumps_written: bool) -> bool:
        bar, time = self.bars[index], self.played[index]
        if not bar.to_coda:
            return False
        if bar.times:
            return time in bar.times
        return self.jumped if jumps_written else time == 2

    def _coda_behind(self, index: int) -> int:
        """The coda of that name, else any, always forwards; without one, the next bar."""
        to_coda = self.bars[index].to_coda
        target = _place(self.bars[index + 1 :], "coda", to_coda, -1)
        if target < 0:
            self.without_coda.add(index)
        return index + 1 + max(target, 0)


def _too_long(measure: str | None) -> ReadError:
    what = "the song has" if measure is None else "the repeat that ends here asks for"
    return ReadError(
        f"{what} more than {MOST_MEASURES} bars; mend its 'times', or read the page order with "
        "played=False",
        measure=measure,
    )


def _jump_notices(bars: Sequence[Bar], numbers: Sequence[str], run: _Run) -> list[str]:
    """What was not played as written, a sentence each."""
    notices = []
    missed = run.missed()
    for index in sorted(run.late | missed):
        name = "D.C." if bars[index].da_capo else "D.S."
        if index in missed:
            problem = f"its {name} is never taken: the song ends or goes on elsewhere before"
        else:
            times = ", ".join(map(str, bars[index].jump_times[:8]))
            problem = (
                f"its {name} is marked for time {times}, at which it cannot be taken; "
                "it is taken when the repeats are done"
            )
        notices.append(f"measure {numbers[index]}: {problem}")
    for index in sorted(run.without_coda):
        notices.append(
            f"measure {numbers[index]}: no coda sign follows its To Coda; the song goes on there"
        )
    return notices


def _place(bars: Sequence[Bar], sign: str, name: str, otherwise: int) -> int:
    """Return the bar with the sign of that name, else with any such sign, else `otherwise`."""
    signs = [getattr(bar, sign) for bar in bars]
    if name in signs:
        return signs.index(name)
    return next((index for index, sign in enumerate(signs) if sign), otherwise)


def _form(bars: Sequence[Bar]) -> _Form:
    """Match the repeat signs."""
    blocks = [_Block(0)]
    stack = [blocks[0]]  # open blocks, the innermost last; stack[0] is there without a sign
    closing: dict[int, _Block] = {}
    endings: list[list[_Ending]] = [[] for _ in bars]
    open_endings: list[_Ending] = []
    around: dict[int, list[_Block]] = {}

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
        if bar.jumps_back:
            around[index] = stack.copy()
        if inside:
            block.passes = max(block.passes, *block.ending_times)
        if bar.backward:
            closing[index], block.last_back = block, index
            block.after_jump |= bar.after_jump
            if not inside:
                block.passes = max(block.passes, bar.backward)
            elif not more_follow and _sends_past(block, bar, is_end=index + 1 == len(bars)):
                block.passes = max(block.ending_times) + 1
        if bar.ending_stops and open_endings:
            open_endings.pop()
        over = bar.backward or (inside and bar.ending_stops)
        if over and not (inside and more_follow):
            close(index + 1)
    return _Form(blocks, closing, endings, around)


def _sends_past(block: _Block, bar: Bar, *, is_end: bool) -> bool:
    """Return whether a repeat sign at the end of the last ending asks for a time without ending.

    Not where the sign is needed to reach that ending's later times, nor where nothing follows.
    """
    if len(block.endings) == 1:
        return True
    return bar.backward > 1 and len(block.endings[-1].times) == 1 and not is_end
