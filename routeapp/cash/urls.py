"""Addresses of bags, their counts, deposits, and what was over or short in them."""

from django.urls import path

from routeapp.cash import views, views_bank, views_counts, views_deposits, views_moves

urlpatterns = [
    path("earnings/cash/", views.cash, name="cash"),
    path("earnings/cash/moves/", views_moves.move_list, name="cash-moves"),
    path("earnings/cash/over-short/", views.over_short, name="over-short"),
    path("earnings/cash/bags/<int:pk>/", views.bag, name="bag"),
    path("earnings/cash/bags/<int:pk>/count/", views.bag_count, name="bag-count"),
    path("earnings/cash/bags/<int:pk>/hand-over/", views.bag_hand_over, name="bag-hand-over"),
    path("earnings/cash/bags/<int:pk>/as-banked/", views.bag_hold_to_bank, name="bag-hold-to-bank"),
    path("earnings/cash/counts/", views_counts.count_list, name="bag-counts"),
    path("earnings/cash/counts/<int:pk>/withdraw/", views.bag_count_withdraw, name="bag-count-withdraw"),
    path("earnings/cash/deposits/", views_deposits.deposit_list, name="deposits"),
    path("earnings/cash/deposits/add/", views_deposits.deposit_add, name="deposit-add"),
    path("earnings/cash/deposits/<uuid:uuid>/", views_deposits.deposit, name="deposit"),
    path("earnings/cash/deposits/<uuid:uuid>/slip.pdf", views_deposits.deposit_slip, name="deposit-slip"),
    path("earnings/cash/deposits/<uuid:uuid>/figure/", views_deposits.deposit_figure, name="deposit-figure"),
    path("earnings/cash/deposits/<uuid:uuid>/withdraw/", views_deposits.deposit_withdraw, name="deposit-withdraw"),
    path("earnings/cash/bank/", views_bank.bank, name="bank"),
    path("earnings/cash/bank/statements/add/", views_bank.statement_add, name="bank-statement-add"),
    path("earnings/cash/bank/statements/<uuid:uuid>/", views_bank.statement, name="bank-statement"),
    path(
        "earnings/cash/bank/statements/<uuid:uuid>/withdraw/",
        views_bank.statement_withdraw,
        name="bank-statement-withdraw",
    ),
    path("earnings/cash/bank/rows/<int:pk>/", views_bank.row, name="bank-row"),
    path("earnings/cash/bank/rows/<int:pk>/match/", views_bank.row_match, name="bank-row-match"),
    path("earnings/cash/bank/rows/<int:pk>/confirm/", views_bank.row_confirm, name="bank-row-confirm"),
    path("earnings/cash/bank/rows/<int:pk>/book/", views_bank.row_book, name="bank-row-book"),
    path("earnings/cash/bank/rows/<int:pk>/aside/", views_bank.row_aside, name="bank-row-aside"),
    path("earnings/cash/bank/rows/<int:pk>/undo/", views_bank.row_undo, name="bank-row-undo"),
]
