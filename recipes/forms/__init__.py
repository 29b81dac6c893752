from __future__ import annotations

from recipes.forms.draft import DraftForm
from recipes.forms.plan import PlanForm
from recipes.forms.review import AcidForm, FoodForm, ReasonForm, WithdrawForm
from recipes.forms.search import SearchForm, TableSearchForm
from recipes.forms.viewing import KitchenForm, ViewForm

__all__ = [
    "AcidForm",
    "DraftForm",
    "FoodForm",
    "KitchenForm",
    "PlanForm",
    "ReasonForm",
    "SearchForm",
    "TableSearchForm",
    "ViewForm",
    "WithdrawForm",
]
