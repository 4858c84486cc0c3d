"""Tables [brief], [alarms] and [mail] of `season.toml`: whom to tell what, and when. Never a password."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from forecaster.season.channels import channel_names, levels, mail_address, mail_addresses
from forecaster.season.closed import Closed, clock
from forecaster.units import f_to_c


class BriefSettings(Closed):
    """Table [brief]. `channels`: "mail", or names of the secrets file; `at`: when `watch` sends it, local;
    from `quiet_from` to `quiet_to` (local) nothing is sent, equal times: no quiet hours; `moved_days`: a date
    that moved by so many days is told; `risk_levels`: a site is told when its chance crosses one of them;
    `snap_chance`: a cold snap within `snap_days` at least this likely is told."""

    channels: Annotated[tuple[str, ...], BeforeValidator(channel_names)] = ("mail",)
    at: Annotated[time, BeforeValidator(clock)] = time(6, 0)
    quiet_from: Annotated[time, BeforeValidator(clock)] = time(21, 0)
    quiet_to: Annotated[time, BeforeValidator(clock)] = time(6, 0)
    moved_days: int = Field(default=2, ge=1, le=30)
    risk_levels: Annotated[tuple[float, ...], BeforeValidator(levels)] = (0.2, 0.5)
    snap_chance: float = Field(default=0.3, ge=0.01, le=1)
    snap_days: int = Field(default=7, ge=1, le=14)


class AlarmSettings(Closed):
    """Table [alarms]. An alarm is raised when the chance of a hard freeze within `hard_freeze_days` is above
    `hard_freeze_chance` at an open site; when a site's minimum of the next three days is below `minimum_c`
    with a chance above `minimum_chance`; when water has come down to the thresholds named by `water`; when
    the weather is older than `data_hours` [h]. A chance of 1 switches its rule off. `repeat_hours` [h]: a
    rule speaks of further sites, or of a new spell, no sooner (at once if they are many); at most
    `most_per_day` messages a channel in 24 hours; `quiet_hours`: whether alarms keep the quiet hours of
    [brief]. No `channels`: those of [brief]."""

    channels: Annotated[tuple[str, ...], BeforeValidator(channel_names)] = ()
    hard_freeze_chance: float = Field(default=0.5, ge=0, le=1)
    hard_freeze_days: int = Field(default=3, ge=1, le=14)
    minimum_c: float = Field(default=f_to_c(20), ge=-60, le=10)
    minimum_chance: float = Field(default=0.3, ge=0, le=1)
    water: Literal["none", "start", "sustained", "both"] = "none"
    data_hours: int = Field(default=72, ge=12, le=10_000)
    repeat_hours: int = Field(default=24, ge=1, le=1000)
    most_per_day: int = Field(default=6, ge=1, le=100)
    quiet_hours: Literal["keep", "break"] = "keep"


class MailSettings(Closed):
    """Table [mail]: the mail server; never a password. No `user`: the `sender` logs in; `security` "none"
    only for a server on this machine or without a password."""

    host: str = ""
    port: int = Field(default=587, ge=1, le=65_535)
    security: Literal["starttls", "ssl", "none"] = "starttls"
    user: str = ""
    sender: Annotated[str, BeforeValidator(mail_address)] = ""
    to: Annotated[tuple[str, ...], BeforeValidator(mail_addresses)] = ()
