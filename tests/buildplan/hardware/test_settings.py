"""What a workshop sets for rivets and clecos: who may, what is refused, and that the history tells."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import IntegrityError, transaction

from buildplan.hardware import services
from buildplan.hardware.calc import Policy, cleco_every
from buildplan.hardware.models import ClecoSpacing, RivetLoss, Stage
from buildplan.hardware.queries import cleco_spacings, losses
from inventory.common.reasons import PRACTICE
from inventory.workshop.models import RivetRounding
from inventory.workshop.policy import NotAllowed
from inventory.workshop.services import BadSetting
from tests import factories

SIZE = Fraction(1, 8)


def spacing(stage):
    return next(one for one in cleco_spacings() if one.stage == stage)


def test_roundings_are_the_policies_of_the_arithmetic():
    assert set(RivetRounding.values) == {*Policy}


def test_every_stage_has_a_common_practice():
    assert all(cleco_every(stage)[0] > 0 for stage in Stage.values)


class TestSpacing:
    def test_spacing_is_common_practice_until_set(self, workshop):
        found = spacing("fit_up")
        assert (found.every, found.own, found.reason.source) == (3, False, PRACTICE)

    def test_spacing_of_the_workshop_wins_and_keeps_the_practice_beside_it(self, workshop, owner):
        services.set_cleco_spacing(workshop=workshop, stage="fit_up", every=4, by=owner)

        found = spacing("fit_up")
        assert (found.every, found.own, found.usual) == (4, True, 3)
        assert found.reason.source == "this workshop's own setting"
        assert (spacing("final").every, spacing("final").own) == (1, False)

    def test_spacing_set_again_changes_the_one_row(self, workshop, owner):
        for every in (4, 5, 5):
            services.set_cleco_spacing(workshop=workshop, stage="fit_up", every=every, by=owner)

        row = ClecoSpacing.objects.get()
        assert [(old.history_type, old.every, old.history_user) for old in row.history.all()] == [("~", 5, owner), ("+", 4, owner)]

    def test_spacing_blank_goes_back_to_common_practice(self, workshop, owner):
        services.set_cleco_spacing(workshop=workshop, stage="fit_up", every=4, by=owner)
        for _ in range(2):
            assert services.set_cleco_spacing(workshop=workshop, stage="fit_up", every=None, by=owner) is None

        assert spacing("fit_up").every == 3
        assert ClecoSpacing.history.first().history_type == "-"

    @pytest.mark.parametrize(("stage", "every"), [("fit_up", 0), ("fit_up", -1), ("fit_up", 101), ("curves", 2)])
    def test_spacing_refuses_what_makes_no_sense(self, workshop, owner, stage, every):
        with pytest.raises(BadSetting):
            services.set_cleco_spacing(workshop=workshop, stage=stage, every=every, by=owner)

    @pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
    def test_spacing_is_the_owner_s_to_set(self, workshop, role):
        with pytest.raises(NotAllowed):
            services.set_cleco_spacing(workshop=workshop, stage="final", every=2, by=factories.MemberFactory(workshop=workshop, role=role))

    def test_spacing_of_the_outsider_is_not_ours(self, workshop, outsider, owner):
        ClecoSpacing.objects.create(workshop=outsider, stage="fit_up", every=9)

        assert spacing("fit_up").every == 3
        with pytest.raises(NotAllowed):
            services.set_cleco_spacing(workshop=outsider, stage="final", every=2, by=owner)

    @pytest.mark.parametrize("bad", [{"every": 0}, {"stage": "curves"}])
    def test_database_refuses_a_spacing_that_makes_no_sense(self, workshop, bad):
        with pytest.raises(IntegrityError), transaction.atomic():
            ClecoSpacing.objects.create(workshop=workshop, **{"stage": "final", "every": 1, **bad})


class TestLoss:
    def test_loss_is_added_and_changed_in_one_row(self, workshop, owner):
        services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(5), by=owner)
        services.set_rivet_loss(workshop=workshop, diameter=Fraction(4, 32), percent=Decimal("7.5"), by=owner)

        row = RivetLoss.objects.get()
        assert row.percent == Decimal("7.5")
        assert [old.history_user for old in row.history.all()] == [owner, owner]

    def test_loss_set_to_the_same_leaves_no_trace(self, workshop, owner):
        for _ in range(2):
            services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(5), by=owner)
        assert RivetLoss.history.count() == 1

    def test_losses_stand_by_size(self, workshop, owner):
        for size in (Fraction(5, 32), Fraction(3, 32), SIZE):
            services.set_rivet_loss(workshop=workshop, diameter=size, percent=Decimal(1), by=owner)
        assert [loss.diameter for loss in losses()] == [Fraction(3, 32), SIZE, Fraction(5, 32)]

    @pytest.mark.parametrize("percent", ["-0.01", "100.01", "1.005", "NaN", "Infinity"])
    def test_loss_refuses_what_is_no_percent(self, workshop, owner, percent):
        with pytest.raises(BadSetting):
            services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(percent), by=owner)

    @pytest.mark.parametrize("percent", ["0", "100"])
    def test_loss_may_be_nothing_or_all(self, workshop, owner, percent):
        assert services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(percent), by=owner).percent == int(percent)

    @pytest.mark.parametrize("diameter", [Fraction(0), Fraction(-1, 8), Fraction(33, 32), Fraction(1, 10_001)])
    def test_loss_refuses_what_is_no_rivet_s_size(self, workshop, owner, diameter):
        with pytest.raises(BadSetting, match="such as 1/8"):
            services.set_rivet_loss(workshop=workshop, diameter=diameter, percent=Decimal(5), by=owner)

    def test_loss_removed_is_kept_in_the_history(self, workshop, owner):
        loss = services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(5), by=owner)
        services.remove_rivet_loss(loss=loss, by=owner)

        assert losses() == []
        assert (RivetLoss.history.first().history_type, RivetLoss.history.first().history_user) == ("-", owner)

    @pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
    def test_loss_is_the_owner_s_to_set_and_remove(self, workshop, owner, role):
        by = factories.MemberFactory(workshop=workshop, role=role)
        loss = services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(5), by=owner)

        with pytest.raises(NotAllowed):
            services.set_rivet_loss(workshop=workshop, diameter=SIZE, percent=Decimal(6), by=by)
        with pytest.raises(NotAllowed):
            services.remove_rivet_loss(loss=loss, by=by)

    def test_database_refuses_a_loss_over_all(self, workshop):
        with pytest.raises(IntegrityError), transaction.atomic():
            RivetLoss.objects.create(workshop=workshop, diameter=SIZE, percent=Decimal("100.01"))
