"""What goes with which form of a piece: the scenes it can rest in, and whether it can be found how supple."""

from enum import StrEnum

from chaingen.design.scene import ROW_SCENES, SHEET_SCENES, SceneKind
from chaingen.errors import Problem
from chaingen.weave.groups import GroupKind, Run
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet


class Form(StrEnum):
    """The form of a piece."""

    OPEN_RUN = "an open run"
    CLOSED_LOOP = "a closed loop"
    SHEET = "a sheet"
    SECTIONS = "sections"
    FASTENED = "sections with a finding at an end"


SCENES_OF = {
    Form.OPEN_RUN: ROW_SCENES,
    Form.CLOSED_LOOP: tuple(kind for kind in ROW_SCENES if kind is not SceneKind.SWAG),
    Form.SHEET: SHEET_SCENES,
    Form.SECTIONS: (SceneKind.HANG, SceneKind.SWAG, SceneKind.TABLE),
    Form.FASTENED: ROW_SCENES,
}
"""What each form can be let come to rest in."""


def form_of(piece: Piece) -> Form:
    """The form of a piece."""
    if isinstance(piece, Sheet):
        return Form.SHEET
    if isinstance(piece, Sections):
        ends = (part.groups()[end] for end in (0, -1) if isinstance(part := piece.parts[end], Run))
        fastened = any(group.kind is GroupKind.FINDING for group in ends)
        return Form.FASTENED if fastened else Form.SECTIONS
    return Form.CLOSED_LOOP if piece.closed else Form.OPEN_RUN


def scene_choice(form: Form) -> str:
    """What a piece of this form can be let come to rest in, for a message."""
    names = [repr(one.value) for one in SCENES_OF[form]]
    return f"{', '.join(names[:-1])} or {names[-1]}"


def scene_problem(form: Form, kind: SceneKind, where: str) -> Problem | None:
    """Why a piece of this form cannot come to rest in a scene of this kind; None when it can."""
    can = SCENES_OF[form]
    if kind in can:
        return None
    got = f"{kind.value!r} of {form}"
    if kind is SceneKind.SWAG and form is Form.CLOSED_LOOP:
        return Problem(where, got, "an open run, which has two ends", "a loop can hang")
    choice = scene_choice(form)
    if form is Form.SHEET:
        reason = "a sheet is not long enough in one direction alone"
    elif form is Form.SECTIONS and kind not in SHEET_SCENES:
        reason = "the last section is not made to link the first, so that it cannot be worn closed"
    else:
        reason = "a chain has no corners and no width to lay over an edge"
    return Problem(where, got, choice, reason)


def supple_problem(form: Form, turning: bool, where: str) -> Problem | None:
    """Why it cannot be found how supple a piece is; None when it can.

    Args:
        form: Its form.
        turning: Whether its weave's cells turn against one another.
        where: The place in the user's own terms.
    """
    if form is Form.SHEET:
        got, reason = "a sheet", "bend and twist are told of chains; a scene shows how a sheet falls"
    elif form in (Form.SECTIONS, Form.FASTENED):
        got, reason = "sections", "no cell repeats through all of them; ask it of each section by itself"
    elif turning:
        got, reason = "a weave whose cells turn", "a screw has no plane of its own to be bent in"
    else:
        return None
    return Problem(where, f"suppleness of {got}", "a run of groups or a chain that does not turn", reason)


def is_turning(piece: Piece) -> bool:
    """Whether a piece's weave turns about its length from cell to cell."""
    return isinstance(piece, Chain) and piece.weave.turning
