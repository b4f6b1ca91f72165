"""Where Undo and Redo go, and what stands in a log because of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Generic, TypeVar

State = TypeVar("State")


@dataclass(frozen=True)
class Step(Generic[State]):
    """What to go to, and the decision that was recorded on the way, if any."""

    state: State
    decision: str = ""


@dataclass
class Steps(Generic[State]):
    """The steps before and after what is seen, the nearest one last."""

    past: list[Step[State]] = field(default_factory=list)
    coming: list[Step[State]] = field(default_factory=list)

    def leave(self, state: State, decision: str = "") -> None:
        """Keep what is left for something new; what was undone cannot be redone then."""
        self.past.append(Step(state, decision))
        self.coming.clear()

    def back(self, state: State) -> State:
        """Go one step back from this state."""
        step = self.past.pop()
        self.coming.append(Step(state, step.decision))
        return step.state

    def on(self, state: State) -> State:
        """Go on again from this state to what was undone."""
        step = self.coming.pop()
        self.past.append(Step(state, step.decision))
        return step.state
