from __future__ import annotations

from django.urls import path

from inventory.jars.views import ledger, orders, shelves, stock

app_name = "jars"

urlpatterns = [
    path("", ledger.home, name="home"),
    path("places/<int:pk>/", ledger.place, name="place"),
    path("places/<int:pk>/label.pdf", ledger.place_label, name="place-label"),
    path("movements/", ledger.movements, name="movements"),
    path("movements/<int:pk>/correct/", ledger.correct, name="correct"),
    path("move/<slug:reason>/", ledger.move, name="move"),
    path("deposits/", ledger.deposits, name="deposits"),
    path("deposits/<int:pk>/settle/", ledger.settle, name="settle"),
    path("lids/", stock.lids, name="lids"),
    path("lids/movements/<int:pk>/correct/", stock.lids_correct, name="lids-correct"),
    path("supplies/", stock.supplies, name="supplies"),
    path("supplies/<int:pk>/", stock.supply, name="supply"),
    path("supplies/lots/<int:pk>/spoil/", stock.spoil, name="spoil"),
    path("supplies/movements/<int:pk>/correct/", stock.supply_correct, name="supply-correct"),
    path("orders/", orders.orders, name="orders"),
    path("orders/new/", orders.order_new, name="order-new"),
    path("orders/<int:pk>/", orders.order, name="order"),
    path("orders/<int:pk>/wish/", orders.order_entries, name="order-wish"),
    path("orders/<int:pk>/lines/", orders.order_line_add, name="order-line-add"),
    path("orders/lines/<int:pk>/remove/", orders.order_line_remove, name="order-line-remove"),
    path("orders/<int:pk>/terms/", orders.order_terms, name="order-terms"),
    path("orders/<int:pk>/place/", orders.order_step, {"step": "place"}, name="order-place"),
    path("orders/<int:pk>/close/", orders.order_step, {"step": "close"}, name="order-close"),
    path("orders/<int:pk>/cancel/", orders.order_cancel, name="order-cancel"),
    path("orders/<int:pk>/arrive/", orders.order_arrive, name="order-arrive"),
    path("orders/<int:pk>/pick-up/", orders.pick_up, name="order-pick-up"),
    path("orders/<int:pk>/pick-up.csv", orders.pick_up_csv, name="order-pick-up-csv"),
    path("orders/<int:pk>/members/<int:member>/", orders.bill, name="order-bill"),
    path("orders/<int:pk>/members/<int:member>/paid/", orders.paid, name="order-paid"),
    path("orders/<int:pk>/members/<int:member>/fetched/", orders.fetched, name="order-fetched"),
    path("counts/", ledger.counts, name="counts"),
    path("shelves/", shelves.shelves, name="shelves"),
    path("shelves/begin/", shelves.begin, name="shelf-begin"),
    path("shelves/<int:pk>/", shelves.shelf_count, name="shelf-count"),
    path("shelves/<int:pk>/drop/", shelves.drop, name="shelf-drop"),
    path("exports/", ledger.exports, name="exports"),
    path("exports/<slug:table>.csv", ledger.export_csv, name="export-csv"),
    path("exports/jars.xlsx", ledger.export_workbook, name="export-workbook"),
]
