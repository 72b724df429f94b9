"""Addresses of bags, their counts, and what was over or short in them."""

from django.urls import path

from routeapp.cash import views, views_moves

urlpatterns = [
    path("earnings/cash/", views.cash, name="cash"),
    path("earnings/cash/moves/", views_moves.move_list, name="cash-moves"),
    path("earnings/cash/over-short/", views.over_short, name="over-short"),
    path("earnings/cash/bags/<int:pk>/", views.bag, name="bag"),
    path("earnings/cash/bags/<int:pk>/count/", views.bag_count, name="bag-count"),
    path("earnings/cash/bags/<int:pk>/hand-over/", views.bag_hand_over, name="bag-hand-over"),
    path("earnings/cash/bags/<int:pk>/bank/", views.bag_deposit, name="bag-deposit"),
    path("earnings/cash/bags/<int:pk>/bank/withdraw/", views.bag_deposit_withdraw, name="bag-deposit-withdraw"),
    path("earnings/cash/counts/<int:pk>/withdraw/", views.bag_count_withdraw, name="bag-count-withdraw"),
]
