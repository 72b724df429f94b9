"""Addresses of this feature."""

from django.urls import path

from routeapp.stock import views, views_goods, views_papers

urlpatterns = [
    path("prizes/", views.stock, name="stock"),
    path("prizes/add/", views_goods.prize_add, name="prize-add"),
    path("prizes/<int:pk>/", views_goods.prize_edit, name="prize-edit"),
    path("prizes/moves/", views.stock_moves, name="stock-moves"),
    path("prizes/mixes/", views_goods.mixes, name="mixes"),
    path("prizes/mixes/add/", views_goods.mix_add, name="mix-add"),
    path("prizes/mixes/<int:pk>/", views_goods.mix_edit, name="mix-edit"),
    path("prizes/mixes/<int:pk>/retire/", views_goods.mix_retire, name="mix-retire"),
    path("prizes/places/", views_goods.places, name="places"),
    path("prizes/places/add/", views_goods.place_add, name="place-add"),
    path("prizes/places/<int:pk>/", views_goods.place_edit, name="place-edit"),
    path("prizes/deliveries/", views.deliveries, name="deliveries"),
    path("prizes/deliveries/add/", views_papers.delivery_add, name="delivery-add"),
    path("prizes/deliveries/<uuid:uuid>/", views.delivery, name="delivery"),
    path("prizes/deliveries/<uuid:uuid>/withdraw/", views_papers.delivery_withdraw, name="delivery-withdraw"),
    path("prizes/inside/", views_papers.stock_inside, name="stock-inside"),
    path("prizes/count/", views_papers.stock_count, name="stock-count"),
    path("prizes/move/", views_papers.stock_move, name="stock-move"),
]
