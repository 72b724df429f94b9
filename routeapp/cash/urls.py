"""Addresses of bags, their counts, deposits, and what was over or short in them."""

from django.urls import path

from routeapp.cash import views, views_counts, views_deposits, views_moves

urlpatterns = [
    path("earnings/cash/", views.cash, name="cash"),
    path("earnings/cash/moves/", views_moves.move_list, name="cash-moves"),
    path("earnings/cash/over-short/", views.over_short, name="over-short"),
    path("earnings/cash/bags/<int:pk>/", views.bag, name="bag"),
    path("earnings/cash/bags/<int:pk>/count/", views.bag_count, name="bag-count"),
    path("earnings/cash/bags/<int:pk>/hand-over/", views.bag_hand_over, name="bag-hand-over"),
    path("earnings/cash/counts/", views_counts.count_list, name="bag-counts"),
    path("earnings/cash/counts/<int:pk>/withdraw/", views.bag_count_withdraw, name="bag-count-withdraw"),
    path("earnings/cash/deposits/", views_deposits.deposit_list, name="deposits"),
    path("earnings/cash/deposits/add/", views_deposits.deposit_add, name="deposit-add"),
    path("earnings/cash/deposits/<uuid:uuid>/", views_deposits.deposit, name="deposit"),
    path("earnings/cash/deposits/<uuid:uuid>/slip.pdf", views_deposits.deposit_slip, name="deposit-slip"),
    path("earnings/cash/deposits/<uuid:uuid>/figure/", views_deposits.deposit_figure, name="deposit-figure"),
    path("earnings/cash/deposits/<uuid:uuid>/withdraw/", views_deposits.deposit_withdraw, name="deposit-withdraw"),
]
