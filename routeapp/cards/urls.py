"""Addresses of card readers and of what processors say."""

from django.urls import path

from routeapp.cards import views, views_statements

urlpatterns = [
    path("earnings/cards/", views_statements.cards, name="cards"),
    path("earnings/cards/statements/add/", views_statements.statement_add, name="card-statement-add"),
    path("earnings/cards/statements/<uuid:uuid>/", views_statements.statement, name="card-statement"),
    path("earnings/cards/statements/<uuid:uuid>/columns/", views_statements.columns, name="card-statement-columns"),
    path("earnings/cards/statements/<uuid:uuid>/bring/", views_statements.bring, name="card-statement-bring"),
    path("earnings/cards/statements/<uuid:uuid>/withdraw/", views_statements.withdraw, name="card-statement-withdraw"),
    path("earnings/cards/unmatched/", views.unmatched, name="cards-unmatched"),
    path("earnings/cards/unmatched/again/", views.match_again, name="cards-match-again"),
    path("earnings/cards/rows/<int:pk>/match/", views.row_match, name="card-row-match"),
    path("earnings/cards/readers/", views.readers, name="card-readers"),
    path("earnings/cards/readers/add/", views.reader_add, name="card-reader-add"),
    path("earnings/cards/readers/<str:serial>/", views.reader, name="card-reader"),
    path("earnings/cards/reader-moves/<int:pk>/withdraw/", views.reader_withdraw, name="card-reader-withdraw"),
]
