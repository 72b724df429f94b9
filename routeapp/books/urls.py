"""Addresses of the journal, of months that are closed, and of what an accountant asks for."""

from django.urls import path

from routeapp.books import views, views_year

urlpatterns = [
    path("books/", views.books, name="books"),
    path("books/journal.csv", views.journal_csv, name="books-journal"),
    path("books/ledger.beancount", views.ledger, name="books-ledger"),
    path("books/close/", views.close, name="month-close"),
    path("books/closed/<int:pk>/reopen/", views.reopen, name="month-reopen"),
    path("books/years/<int:year>/", views_year.year_end, name="year-end"),
]
