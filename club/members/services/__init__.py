"""Every write of the room. Each checks who asks, keeps its rule and is one transaction.

Refusals: `PermissionDenied` for who may not, `ValidationError` (named fields where there is one) for what cannot
be, `InvitationClosed` for a link that is no longer good.
"""

from __future__ import annotations

from club.members.services.calendars import calendar_address_close, calendar_address_renew
from club.members.services.invitations import (
    invitation_accept,
    invitation_send,
    invitation_send_again,
    invitation_withdraw,
)
from club.members.services.kitchens import (
    kitchen_add,
    kitchen_change,
    kitchen_choose,
    kitchen_invitation_answer,
    kitchen_invitation_withdraw,
    kitchen_invite,
    kitchen_person_remove,
    kitchen_used,
)
from club.members.services.people import (
    member_deactivate,
    member_enrol,
    member_reactivate,
    profile_change,
    sessions_end_everywhere,
)
from club.members.services.roles import role_grant, role_take, roles_change, roles_install
from club.members.services.skills import skill_gain, skill_waive, skill_withdraw

__all__ = [
    "calendar_address_close",
    "calendar_address_renew",
    "invitation_accept",
    "invitation_send",
    "invitation_send_again",
    "invitation_withdraw",
    "kitchen_add",
    "kitchen_change",
    "kitchen_choose",
    "kitchen_invitation_answer",
    "kitchen_invitation_withdraw",
    "kitchen_invite",
    "kitchen_person_remove",
    "kitchen_used",
    "member_deactivate",
    "member_enrol",
    "member_reactivate",
    "profile_change",
    "role_grant",
    "role_take",
    "roles_change",
    "roles_install",
    "sessions_end_everywhere",
    "skill_gain",
    "skill_waive",
    "skill_withdraw",
]
