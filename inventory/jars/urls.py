from __future__ import annotations

from django.urls import path

from inventory.jars.views import files, ledger, moving, stock

app_name = "jars"

urlpatterns = [
    path("", ledger.home, name="home"),
    path("places/<int:pk>/", ledger.place, name="place"),
    path("movements/", ledger.movements, name="movements"),
    path("movements/<int:pk>/correct/", moving.correct, name="correct"),
    path("move/<slug:reason>/", moving.move, name="move"),
    path("deposits/", ledger.deposits, name="deposits"),
    path("deposits/<int:pk>/settle/", moving.settle, name="settle"),
    path("lids/", stock.lids, name="lids"),
    path("lids/movements/<int:pk>/correct/", stock.lids_correct, name="lids-correct"),
    path("supplies/", stock.supplies, name="supplies"),
    path("supplies/<int:pk>/", stock.supply, name="supply"),
    path("supplies/lots/<int:pk>/spoil/", stock.spoil, name="spoil"),
    path("supplies/movements/<int:pk>/correct/", stock.supply_correct, name="supply-correct"),
    path("counts/", files.counts, name="counts"),
    path("exports/", files.exports, name="exports"),
    path("exports/<slug:table>.csv", files.export_csv, name="export-csv"),
    path("exports/jars.xlsx", files.export_workbook, name="export-workbook"),
]
