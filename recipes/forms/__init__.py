from __future__ import annotations

from recipes.forms.draft import DraftForm
from recipes.forms.plan import PlanForm
from recipes.forms.review import ReasonForm, WithdrawForm
from recipes.forms.search import SearchForm, TableSearchForm
from recipes.forms.viewing import KitchenForm, ViewForm

__all__ = [
    "DraftForm",
    "KitchenForm",
    "PlanForm",
    "ReasonForm",
    "SearchForm",
    "TableSearchForm",
    "ViewForm",
    "WithdrawForm",
]
