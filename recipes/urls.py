from __future__ import annotations

from django.urls import URLPattern, path

from recipes.views import browse, changes, drafts, plan, prices, review

app_name = "recipes"

urlpatterns: list[URLPattern] = [
    path("", browse.recipe_list, name="list"),
    path("process-tables/", browse.process_tables, name="process-tables"),
    path("prices/", prices.prices, name="prices"),
    path("drafts/", drafts.draft_list, name="drafts"),
    path("drafts/new/", drafts.new, name="draft-new"),
    path("drafts/from/<int:pk>/", drafts.start_from, name="draft-from"),
    path("drafts/<int:pk>/", review.draft, name="draft"),
    path("drafts/<int:pk>/change/", drafts.change, name="draft-change"),
    path("drafts/<int:pk>/submit/", review.submit, name="draft-submit"),
    path("drafts/<int:pk>/send-back/", review.send_back, name="draft-send-back"),
    path("drafts/<int:pk>/class-food/", review.class_food, name="draft-class-food"),
    path("drafts/<int:pk>/publish/", review.publish, name="draft-publish"),
    path("<slug:slug>/", browse.recipe, name="recipe"),
    path("<slug:slug>/plan/", plan.plan, name="plan"),
    path("<slug:slug>/changes/", changes.changes, name="changes"),
    path("<slug:slug>/revisions/<int:number>/", browse.revision, name="revision"),
    path("<slug:slug>/revisions/<int:number>/withdraw/", review.withdraw, name="withdraw"),
]
