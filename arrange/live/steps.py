"""Where Undo and Redo go, and what stands in a log because of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from arrange.live.choices import Choices


@dataclass(frozen=True)
class Step:
    """Choices to go to, and the decision that was recorded on the way, if any."""

    choices: Choices
    decision: str = ""


@dataclass
class Steps:
    """The steps before and after what is seen, the nearest one last."""

    past: list[Step] = field(default_factory=list)
    coming: list[Step] = field(default_factory=list)

    def leave(self, choices: Choices, decision: str = "") -> None:
        """Keep what is left for something new; what was undone cannot be redone then."""
        self.past.append(Step(choices, decision))
        self.coming.clear()

    def back(self, choices: Choices) -> Choices:
        """Go one step back from these choices."""
        step = self.past.pop()
        self.coming.append(Step(choices, step.decision))
        return step.choices

    def on(self, choices: Choices) -> Choices:
        """Go on again from these choices to what was undone."""
        step = self.coming.pop()
        self.past.append(Step(choices, step.decision))
        return step.choices
