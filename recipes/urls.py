from __future__ import annotations

from django.urls import URLPattern, path

from recipes import views as recipes_views

app_name = "recipes"

urlpatterns: list[URLPattern] = [
    path("", recipes_views.recipe_list, name="list"),
    path("process-tables/", recipes_views.process_tables, name="process-tables"),
    path("process-tables/<int:pk>/plan/", recipes_views.table_plan, name="table-plan"),
    path("prices/", recipes_views.prices, name="prices"),
    path("drafts/", recipes_views.draft_list, name="drafts"),
    path("drafts/new/", recipes_views.new, name="draft-new"),
    path("drafts/text/", recipes_views.new_as_text, name="draft-text"),
    path("drafts/from/<int:pk>/", recipes_views.start_from, name="draft-from"),
    path("drafts/<int:pk>/", recipes_views.draft, name="draft"),
    path("drafts/<int:pk>/change/", recipes_views.change, name="draft-change"),
    path("drafts/<int:pk>/text/", recipes_views.change_as_text, name="draft-change-text"),
    path("drafts/<int:pk>/submit/", recipes_views.submit, name="draft-submit"),
    path("drafts/<int:pk>/send-back/", recipes_views.send_back, name="draft-send-back"),
    path("drafts/<int:pk>/class-food/", recipes_views.class_food, name="draft-class-food"),
    path("drafts/<int:pk>/publish/", recipes_views.publish, name="draft-publish"),
    path("<slug:slug>/", recipes_views.recipe, name="recipe"),
    path("<slug:slug>/sheet.pdf", recipes_views.sheet, name="sheet"),
    path("<slug:slug>/plan/", recipes_views.plan, name="plan"),
    path("<slug:slug>/changes/", recipes_views.changes, name="changes"),
    path("<slug:slug>/revisions/<int:number>/", recipes_views.revision, name="revision"),
    path("<slug:slug>/revisions/<int:number>/withdraw/", recipes_views.withdraw, name="withdraw"),
]
