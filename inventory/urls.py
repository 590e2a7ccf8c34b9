"""Addresses of the pages: wiring only."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from inventory.receiving import views as receiving
from inventory.stock import views as stock
from inventory.workshop import views as workshop

urlpatterns = [
    path("sign-in/", workshop.SignIn.as_view(), name="sign-in"),
    path("sign-in/link/<str:uidb64>/<str:token>/", workshop.sign_in_link, name="sign-in-link"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("password/", workshop.Password.as_view(), name="password"),
    path("workshop/", workshop.choose_workshop, name="workshop"),
    path("shelves/", stock.shelves, name="shelves"),
    path("lots/<int:pk>/", stock.lot, name="lot"),
    path("lots/<int:lot>/count/<int:place>/", stock.count, name="count"),
    path("lots/<int:pk>/state/", stock.lot_state, name="lot-state"),
    path("lots/<int:pk>/dates/", stock.lot_dates, name="lot-dates"),
    path("movements/<int:pk>/reverse/", receiving.reverse_movement, name="reverse"),
    path("crates/", receiving.crates, name="crates"),
    path("crates/<int:pk>/", receiving.crate, name="crate"),
    path("crates/<int:pk>/due/", receiving.due, name="due"),
    path("crates/<int:pk>/arrived/", receiving.crate_arrived, name="crate-arrived"),
    path("bags/<int:pk>/arrived/", receiving.bag_arrived, name="bag-arrived"),
    path("lines/<int:pk>/arrived/", receiving.arrived, name="arrived"),
]
