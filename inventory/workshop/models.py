"""Who works where: workshops, their members, their benches."""

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Upper
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.common.showing import Dates, Inches, Sizes
from inventory.workshop.scoping import WorkshopManager


class UserManager(BaseUserManager["User"]):
    """Users are known by their e-mail address alone."""

    def create_user(self, email: str, password: str | None = None, **extra: Any) -> "User":
        """Make a user; without a password only a sign-in link lets them in."""
        user = self.model(email=self.normalize_email(email).lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **extra: Any) -> "User":
        """Make a user who may repair anything."""
        return self.create_user(email, password, is_superuser=True, is_staff=True, **extra)


class User(AbstractBaseUser, PermissionsMixin):
    """A person who signs in. What they may do comes from their memberships."""

    email = models.EmailField("e-mail", unique=True)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)

    objects = UserManager()
    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"

    def __str__(self) -> str:
        """Their address."""
        return self.email


class Role(models.TextChoices):
    """What a member is in a workshop; `policy` says what each may do."""

    OWNER = "owner", _("owner")
    STOREKEEPER = "storekeeper", _("storekeeper")
    BUILDER = "builder", _("builder")
    INSPECTOR = "inspector", _("inspector")
    READER = "reader", _("reader")


class RivetRounding(models.TextChoices):
    """How the exact length of a rivet becomes one that is made. Manuals differ, so each workshop states its own."""

    UP_HALF = "up_half", _("up, to half or whole sixteenths")
    NEAREST_HALF = "nearest_half", _("to the nearest half sixteenth, a tie goes up")
    UP_WHOLE = "up_whole", _("up, to whole sixteenths")


class Workshop(models.Model):
    """One garage or one club: the tenant. Everything else belongs to exactly one."""

    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    receiving_days = models.PositiveSmallIntegerField(
        "receiving allowance in days",
        default=3,
        help_text="Days between a crate's arrival and its parts being usable. The 3 is a starting value of ours, not a source's.",
    )
    rivet_rounding = models.CharField(
        "rounding of rivet lengths",
        max_length=12,
        choices=RivetRounding,
        default=RivetRounding.UP_HALF,
        db_default=RivetRounding.UP_HALF.value,  # code that doesn't know the column yet still makes workshops
        help_text="How grip + 1.5 D becomes a length that is made. Rounding up to a half is a starting value of ours: manuals differ.",
    )
    time_zone = models.CharField(
        max_length=64, blank=True, default="", db_default="", help_text="whose midnight ends a day; blank: the site's"
    )
    sizes = models.CharField(max_length=6, choices=Sizes, default=Sizes.INCH, db_default=Sizes.INCH.value)
    inches = models.CharField(max_length=8, choices=Inches, default=Inches.USUAL, db_default=Inches.USUAL.value)
    dates = models.CharField(max_length=11, choices=Dates, default=Dates.ISO, db_default=Dates.ISO.value)
    language = models.CharField(max_length=10, blank=True, default="", db_default="", help_text="blank: as each reader's browser asks")

    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(Upper("code"), name="workshop_code_unique"),
            models.CheckConstraint(condition=models.Q(rivet_rounding__in=RivetRounding.values), name="workshop_rivet_rounding_known"),
            models.CheckConstraint(
                condition=models.Q(sizes__in=Sizes.values, inches__in=Inches.values, dates__in=Dates.values), name="workshop_showing_known"
            ),
        ]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class Member(models.Model):
    """A person in a workshop. One without a user is the workshop's own hand, such as its command line.

    `sizes`, `inches`, `dates` and `language` are how pages look to them; blank is as in the workshop.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="members")
    user = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="memberships")
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=12, choices=Role)
    active = models.BooleanField(default=True)
    left_on = models.DateField(null=True, blank=True)
    sizes = models.CharField(max_length=6, choices=Sizes, blank=True, default="", db_default="")
    inches = models.CharField(max_length=8, choices=Inches, blank=True, default="", db_default="")
    dates = models.CharField(max_length=11, choices=Dates, blank=True, default="", db_default="")
    language = models.CharField(max_length=10, blank=True, default="", db_default="")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(sizes__in=["", *Sizes.values], inches__in=["", *Inches.values], dates__in=["", *Dates.values]),
                name="member_showing_known",
            ),
            models.UniqueConstraint(fields=["workshop", "user"], name="member_once_a_workshop"),
            models.UniqueConstraint(fields=["workshop", "name"], condition=models.Q(user=None), name="member_hand_once"),
        ]

    def __str__(self) -> str:
        """Their name."""
        return self.name


class Bench(models.Model):
    """One builder's own stock inside a workshop; a shared one is the club's pool."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="benches")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    shared = models.BooleanField(default=False)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint("workshop", Upper("code"), name="bench_code_unique")]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class BenchHolder(models.Model):
    """Who speaks for a bench. A bench with holders is theirs: of the builders only they use its stock. One without is anybody's."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="bench_holders")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="holders")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="benches")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["bench", "member"], name="bench_holder_once")]

    def __str__(self) -> str:
        """Who holds which."""
        return f"{self.member_id} holds {self.bench_id}"


class Invitation(models.Model):
    """A link that makes whoever opens it a member, once, until it expires. It is shown once; only its hash is kept.

    `prefix` is the readable start of its secret, to find the row; `digest` is the SHA-256 of all of it.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="invitations")
    name = models.CharField("for whom", max_length=120)
    email = models.EmailField("e-mail", blank=True)
    role = models.CharField(max_length=12, choices=Role)
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="invitations")
    prefix = models.CharField(max_length=16, unique=True)
    digest = models.CharField(max_length=64)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="invitations")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    used_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+", excluded_fields=["digest"])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(made_at__lt=models.F("expires_at")), name="invitation_lasts"),
            models.CheckConstraint(condition=models.Q(used_at=None) | models.Q(withdrawn_at=None), name="invitation_ends_once"),
        ]

    def __str__(self) -> str:
        """For whom."""
        return self.name


class SignedIn(models.Model):
    """One place where a person is signed in: the session's key, since when, when it was seen last. It is the person's, not a workshop's."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="signed_in")
    key = models.CharField(max_length=40, unique=True)
    agent = models.CharField(max_length=200, blank=True)
    since = models.DateTimeField()
    seen_at = models.DateTimeField()

    def __str__(self) -> str:
        """Whose."""
        return f"a session of {self.user_id}"


class Device(models.Model):
    """A scanner, phone or script that acts for a member by a token. The token is shown once; only its hash is kept.

    `prefix` is the readable start of the token, to tell devices apart and to find the row; `digest` is the SHA-256 of all of it.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="devices")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="devices")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=16, unique=True)
    digest = models.CharField(max_length=64)
    may_read = models.BooleanField("look things up", default=True)
    may_scan = models.BooleanField("send scans", default=True)
    may_manage = models.BooleanField("change anything that its member may change", default=False)
    made_at = models.DateTimeField(auto_now_add=True)
    last_seen = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+", excluded_fields=["last_seen", "digest"])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(may_read=True) | models.Q(may_scan=True) | models.Q(may_manage=True), name="device_may_something"
            ),
        ]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class FeedAddress(models.Model):
    """The secret address of a member's calendar feed. It is shown once; only its hash is kept. A new one ends the one before.

    `prefix` is the readable start of the secret, to find the row; `digest` is the SHA-256 of all of it. Both are None once it is ended.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="feed_addresses")
    member = models.OneToOneField(Member, on_delete=models.PROTECT, related_name="feed_address")
    prefix = models.CharField(max_length=16, unique=True, null=True)  # noqa: DJ001 - many are ended, and two blanks would not be unique
    digest = models.CharField(max_length=64, null=True)  # noqa: DJ001 - goes with it
    made_at = models.DateTimeField()

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+", excluded_fields=["digest"])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(prefix=None, digest=None) | models.Q(prefix__isnull=False, digest__isnull=False),
                name="feed_address_whole",
            ),
        ]

    def __str__(self) -> str:
        """Where it starts."""
        return self.prefix or "ended"


class DigestMail(models.Model):
    """Whether a member wants what is due by mail, and the day of the last one: there is one a day at most."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="digest_mails")
    member = models.OneToOneField(Member, on_delete=models.PROTECT, related_name="digest_mail")
    wanted = models.BooleanField(default=False)
    sent_on = models.DateField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+", excluded_fields=["sent_on"])

    def __str__(self) -> str:
        """What they want."""
        return "wanted" if self.wanted else "not wanted"


class KeptAnswer(models.Model):
    """What a creating request with an Idempotency-Key was answered, kept in the transaction of its effect.

    `fingerprint` is the SHA-256 of method, path and body: the same key with another request is refused.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.CASCADE, related_name="+")
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    at = models.DateTimeField(auto_now_add=True, db_index=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["member", "key"], name="kept_answer_once")]

    def __str__(self) -> str:
        """Its key."""
        return self.key
