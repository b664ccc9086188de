"""Every threshold and cap, with unit, source and reason. Each is a setting of the same name.

A source is a standard with its clause, 'derived' from one, 'measured', or 'common practice, no source'.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any


def number(default: float, unit: str, source: str, why: str) -> Any:
    """A dataclass field that carries its unit, source and reason."""
    return field(default=default, metadata={"unit": unit, "source": source, "why": why})


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """The values in force; ``dataclasses.replace`` lays settings over the defaults."""

    # ---- light ----
    source_silent_s: float = number(2.5, "s", "E1.31-2018 6.7.1, App. A", "network data loss: receivers give a source up")
    artnet_silent_s: float = number(
        10.0, "s", "Art-Net 4 (1.4di) p.63", "a failed source leaves the merge; two repeats of 4 s missed"
    )
    fight_after_s: float = number(3.0, "s", "common practice, no source", "a hand-over overlaps for less")
    tracking_lag_s: float = number(
        1.0, "s", "common practice, no source", "a backup that tracks shows each frame so much later at most"
    )
    fight_levels: int = number(2, "steps", "common practice, no source", "smaller differences are rounding")
    loss_window_s: float = number(60.0, "s", "common practice, no source", "long enough for a share to mean something")
    loss_least_packets: int = number(500, "packets", "common practice, no source", "fewer give no share")
    loss_least_gaps: int = number(3, "gaps", "common practice, no source", "one long gap is an interruption")
    loss_burst: int = number(3, "packets", "common practice, no source", "so many missing in a row are seen in a running effect")
    loss_least_bursts: int = number(2, "bursts", "common practice, no source", "one is an interruption")
    moving_share: float = number(0.5, "share", "common practice, no source", "every second frame differs: an effect runs")
    loss_note: float = number(0.001, "share", "common practice, no source", "seen, not felt")
    loss_quality: float = number(0.01, "share", "common practice, no source", "fades step")
    loss_now: float = number(0.05, "share", "common practice, no source", "the look breaks")
    late_share: float = number(0.001, "share", "common practice, no source", "single stray ones are harmless")
    repeated_share: float = number(0.001, "share", "common practice, no source", "single stray ones are harmless")
    doubled_low: float = number(1.9, "copies", "common practice, no source", "every packet twice, less what got lost")
    doubled_high: float = number(2.1, "copies", "common practice, no source", "every packet twice; more would be a loop")
    stuck_copies: float = number(50.0, "copies", "common practice, no source", "the number stands still")
    rate_margin: float = number(
        0.05, "share", "common practice, no source", "44.1 frames/s and clocks that differ: 46 are taken for 44"
    )
    rate_window_s: float = number(60.0, "s", "common practice, no source", "so many packets tell a gap to within 4 %")
    keep_alive_s: float = number(1.0, "s", "E1.31-2018 6.6.2", "light that stands is repeated every 0.8 to 1 s")
    keep_alive_tidy_s: float = number(
        1.25, "s", "E1.31-2018 6.7.1, derived", "two of these are 2.5 s: one lost packet is a dropout"
    )
    keep_alive_soon_s: float = number(2.0, "s", "E1.31-2018 6.7.1, derived", "hardly any margin to 2.5 s is left")
    moving_least_hz: float = number(15.0, "frames/s", "common practice, no source", "the eye sees steps")
    moving_all: float = number(0.9, "share", "common practice, no source", "all frames differ: the rate is what limits")
    moving_least_frames: int = number(60, "frames", "common practice, no source", "one a second: not just a few changes")
    shared_many: int = number(3, "sources", "common practice, no source", "many receivers merge two and refuse more")
    preview_after_s: float = number(10.0, "s", "common practice, no source", "a look in blind lasts for less")
    standby_s: float = number(60.0, "s", "common practice, no source", "a backup that was off starts within it")
    took_over_stands_s: float = number(1_800.0, "s", "common practice, no source", "later nobody calls it a backup any more")
    flapping_within_s: float = number(300.0, "s", "common practice, no source", "changes to and fro within it")
    flapping_least: int = number(3, "changes", "common practice, no source", "away, back, away again")
    sync_lost_s: float = number(2.5, "s", "E1.31-2018 11.1.2", "receivers take synchronization for lost")
    sync_wait_s: float = number(5.0, "s", "common practice, no source", "two chances to hear synchronization")
    malformed_least: int = number(3, "frames", "common practice, no source", "one may be a stray")
    malformed_within_s: float = number(60.0, "s", "common practice, no source", "goes on")
    pixel_slots: int = number(510, "slots", "common practice, no source", "170 pixels of three colours")
    same_counter: int = number(3, "steps", "common practice, no source", "two cards of one sender send within a frame or two")
    listed_within_s: float = number(30.0, "s", "E1.31-2018 6.7.1.1, derived", "a list may lag by two intervals of 10 s")
    artnet_broadcast_tidy_pps: float = number(0.0, "packets/s", "Art-Net 4 (1.4di) p.58", "levels are to be sent by unicast")
    artnet_broadcast_quality_pps: float = number(500.0, "packets/s", "common practice, no source", "small boxes get slow")
    artnet_broadcast_now_pps: float = number(2000.0, "packets/s", "common practice, no source", "small boxes drop out")

    # ---- DHCP and addresses ----
    servers_within_s: float = number(86_400.0, "s", "common practice, no source", "a day's work")
    nak_after_request_s: float = number(2.0, "s", "common practice, no source", "a rival's refusal follows at once")
    discover_least: int = number(3, "messages", "RFC 2131 4.1, derived", "at 0, 4 and 12 s")
    discover_span_s: float = number(10.0, "s", "RFC 2131 4.1, derived", "0, 4 and 12 s, each pause up to 1 s less")
    discover_wait_s: float = number(10.0, "s", "RFC 2131 4.1, derived", "an answer would have led to a request")
    lone_client_wait_s: float = number(60.0, "s", "common practice, no source", "one client may be at fault itself")
    discover_patience_s: float = number(400.0, "s", "common practice, no source", "clients that gave up ask again every 5 min")
    dhcp_boot_s: float = number(120.0, "s", "common practice, no source", "a box that gives addresses takes so long to start")
    link_up_quiet_s: float = number(40.0, "s", "IEEE 802.1D, derived", "a port may pass nothing for 2 x 15 s after link-up")
    pool_within_s: float = number(1_800.0, "s", "common practice, no source", "some fail and some succeed side by side")
    pool_full: float = number(0.9, "share", "common practice, no source", "of the addresses between lowest and highest given")
    pool_least: int = number(16, "addresses", "common practice, no source", "a server that counts up fills any shorter range")
    gateway_asks: int = number(5, "questions/min", "common practice, no source", "who gets an answer does not ask so often")
    rebinding_again_s: float = number(60.0, "s", "RFC 2131 4.4.5", "clients repeat no sooner; two so far apart got no answer")
    rebinding_stands_s: float = number(
        3_600.0, "s", "common practice, no source", "lease unknown; no second try: it was answered"
    )
    moved_alone_s: float = number(60.0, "s", "common practice, no source", "the old address was not used meanwhile")
    moved_stands_s: float = number(
        600.0, "s", "common practice, no source", "news for so long, or while somebody asks for the old"
    )
    moved_asks: int = number(3, "questions/min", "common practice, no source", "who asks again still wants the old address")
    declines_within_s: float = number(300.0, "s", "common practice, no source", "a loop declines every 10 s or so")
    declines_now: int = number(3, "messages", "common practice, no source", "one may be a leftover, three are a loop")
    declined_stands_s: float = number(600.0, "s", "common practice, no source", "no new refusal for so long, and it is over")
    fixed_wait_s: float = number(86_400.0, "s", "common practice, no source", "lease unknown: within a day it would be renewed")
    pool_known_least: int = number(3, "addresses", "common practice, no source", "fewer show no range")
    subnet_few: float = number(0.2, "share", "common practice, no source", "more of them are a second rig on purpose")
    hosts_within_s: float = number(600.0, "s", "common practice, no source", "idle boxes speak rarely; later they count as gone")
    far_asks: int = number(3, "questions", "common practice, no source", "one or two may be a leftover or a scan")
    odd_address_after_s: float = number(60.0, "s", "common practice, no source", "a router would speak for a second box by then")
    duplicate_window_s: float = number(60.0, "s", "common practice, no source", "A, B, A within it is no replacement")
    duplicate_proxy_addresses: int = number(8, "addresses", "common practice, no source", "one MAC for many is a router")
    link_local_alone_s: float = number(60.0, "s", "common practice, no source", "no other address was used meanwhile")
    link_local_few: float = number(0.2, "share", "common practice, no source", "outliers in a rig with addresses")

    # ---- Art-Net, and both protocols ----
    merge_overlap_s: float = number(3.0, "s", "common practice, no source", "a controller that moves overlaps itself for less")
    reply_within_s: float = number(3.0, "s", "Art-Net 4 (1.4di) p.15", "a node that answers later counts as gone")
    polls_unanswered: int = number(3, "polls", "Art-Net 4 (1.4di) p.15, derived", "one or two may get lost")
    polls_unanswered_s: float = number(9.0, "s", "Art-Net 4 (1.4di) p.15, derived", "three polls of 3 s")
    answers_least: int = number(
        3, "replies", "common practice, no source", "who answered so often, where we hear it, goes on doing so"
    )
    node_fresh_s: float = number(
        600.0, "s", "common practice, no source", "what a node said of itself holds so long without a new word"
    )
    shifted_match: float = number(0.8, "share", "common practice, no source", "universes that fit once they are counted anew")
    straight_match: float = number(
        0.5, "share", "common practice, no source", "as many that fit as they are: then numbers are right"
    )
    stuck_packets: int = number(50, "packets", "common practice, no source", "no sender repeats itself so often by design")
    sync_hold_s: float = number(4.0, "s", "Art-Net 4 (1.4di) p.64", "so long nodes wait for the next sync")
    sync_least: int = number(20, "syncs", "common practice, no source", "a few are a test, no way of working")
    sync_told_s: float = number(60.0, "s", "common practice, no source", "it is over by itself: news for so long")
    same_light_universes: int = number(5, "universes", "common practice, no source", "fewer may look alike by chance")
    same_light_frames: int = number(3, "frames", "common practice, no source", "of one universe, in both protocols")
    same_light_within_s: float = number(0.05, "s", "common practice, no source", "one desk sends both within two frames")
    same_light: float = number(0.9, "share", "common practice, no source", "of the changed frames are equal")
    other_light: float = number(0.5, "share", "common practice, no source", "the second best numbering must fit worse")
    same_light_look_s: float = number(2.0, "s", "common practice, no source", "how often frames are compared until it is proven")
    left_least_s: float = number(10.0, "s", "common practice, no source", "a cable that was changed is back by then")
    left_words: float = number(4.0, "times", "common practice, no source", "four times its usual pause between words")
    left_most_s: float = number(300.0, "s", "common practice, no source", "who speaks more rarely can't be missed in time")
    left_told_s: float = number(60.0, "s", "common practice, no source", "it is back: news for so long")

    # ---- multicast ----
    querier_hint_s: float = number(135.0, "s", "RFC 9776 8, derived", "default interval 125 s and answer time 10 s")
    querier_gone_s: float = number(255.0, "s", "RFC 9776 8.5", "other querier present interval")
    membership_s: float = number(260.0, "s", "RFC 3376 8.4", "group membership interval; 270 s in RFC 9776")
    response_s: float = number(10.0, "s", "RFC 9776 8.3", "query response interval")
    flooded_after_s: float = number(30.0, "s", "common practice, no source", "light that goes on arriving unasked is no burst")
    query_interval_s: float = number(125.0, "s", "RFC 9776 8.2", "where the box that asks says nothing and was heard too little")
    query_late: float = number(1.2, "intervals", "common practice, no source", "one question did not come")
    query_missing: float = number(2.0, "intervals", "common practice, no source", "two questions did not come: no lost packet")
    query_slack_s: float = number(2.0, "s", "common practice, no source", "a busy box may ask so much later than it means to")
    queriers_within_s: float = number(600.0, "s", "common practice, no source", "long enough for several questions of each box")
    queriers_overlap_s: float = number(60.0, "s", "RFC 9776 8.6, derived", "at start two boxes may both ask, for some 32 s")
    query_versions_s: float = number(400.0, "s", "RFC 2236 8.11", "a host remembers an older version for so long")
    ageing_least_s: float = number(70.0, "s", "RFC 3376 8.4, derived", "membership at an interval of 30 s, the shortest in use")
    query_settles_s: float = number(3.0, "s", "measured", "a query made a switch prune within 1.5 s")
    deaf_queries: int = number(
        2, "questions", "RFC 9776 8.1, derived", "robustness 2: after so many without an answer it is dropped"
    )
    deaf_witnesses: int = number(
        2, "boxes", "common practice, no source", "others must be heard to answer, or answers are hidden here"
    )
    flooded_universes: int = number(40, "universes", "common practice, no source", "fewer do no harm on gigabit")
    flooded_mbit: float = number(70.0, "Mbit/s", "common practice, no source", "70 % of the 100 Mbit/s port of many nodes")
    flooded_groups: int = number(100, "groups", "common practice, no source", "many small switches hold 256 groups or fewer")
    fast_leave_s: float = number(1.0, "s", "RFC 9776 8.8, derived", "a switch that asks first waits longer than that")
    own_join_s: float = number(2.0, "s", "measured", "a join darkened a node within the second")
    told_for_s: float = number(600.0, "s", "common practice, no source", "what happened once and is over stays told")

    # ---- the phases, and being quiet ----
    proven_s: float = number(300.0, "s", "common practice, no source", "what ran so long is part of the rig, not a test")
    off_within_s: float = number(120.0, "s", "common practice, no source", "a rig is switched off box by box within it")
    off_boxes: int = number(2, "boxes", "common practice, no source", "one alone may just as well have failed")
    off_after_s: float = number(10.0, "s", "common practice, no source", "what is on says something within it, or soon after")
    off_at_once_s: float = number(3.0, "s", "common practice, no source", "in a show: all gone at one moment is a cut")
    quiet_s: float = number(60.0, "s", "common practice, no source", "a state that was over so long may come back, but is quiet")
    quiet_asking_s: float = number(120.0, "s", "RFC 2131 4.1, derived", "who asks in vain, asks again 64 s later at most")
    quiet_queries_s: float = number(300.0, "s", "RFC 9776 8.2, derived", "two questions, 125 s apart, and some patience")
    quiet_rare_s: float = number(600.0, "s", "common practice, no source", "devices ask for addresses this rarely, or more so")
    day_ends_h: float = number(6.0, "h", "common practice, no source", "what is known today is known through the night's work")
    mended_wait_s: float = number(60.0, "s", "common practice, no source", "what stays so long after 'mended' is not mended")

    # ---- links and switches ----
    again_within_s: float = number(
        0.08, "s", "common practice, no source", "256 numbers of one flow last longer, also at 3,000 Hz"
    )
    loop_copies: int = number(
        25, "copies in 250 ms", "common practice, no source", "no box sends the same frame 100 times a second"
    )
    loop_light: int = number(
        16, "copies in 250 ms", "common practice, no source", "a flow that brings 64 copies a second beside its own"
    )
    loop_apart_s: float = number(0.01, "s", "common practice, no source", "a mirror of many ports gives its copies at once")
    loop_own: int = number(3, "frames/s", "common practice, no source", "our own frames, back: one or two may be a mirror's")
    storm_pps: float = number(
        1_000.0, "packets/s", "common practice, no source", "limits of switches lie between 1,000 and 10,000"
    )
    storm_now_pps: float = number(10_000.0, "packets/s", "common practice, no source", "small boxes stand still")
    storm_after_s: float = number(5.0, "s", "common practice, no source", "boxes that start are done by then")
    storm_now_after_s: float = number(0.5, "s", "common practice, no source", "so much is no burst")
    link_slow_mbit: float = number(
        1_000.0, "Mbit/s", "common practice, no source", "what a laptop's link has, where nothing is wrong"
    )
    link_busy: float = number(0.7, "share", "common practice, no source", "of the link: bursts begin to be thrown away")
    link_full: float = number(0.9, "share", "common practice, no source", "of the link: hardly a burst fits any more")
    starts_least: int = number(3, "starts", "common practice, no source", "one may be a restart, two a second try")
    starts_within_s: float = number(1_800.0, "s", "common practice, no source", "so long somebody remembers the first one")
    tree_changes: int = number(4, "changes", "common practice, no source", "a few come with each switch that is plugged in")
    tree_within_s: float = number(600.0, "s", "common practice, no source", "later ones have another reason")
    tree_new_box_s: float = number(
        10.0, "s", "common practice, no source", "a change with a new box is what a load-in looks like"
    )
    tree_delay_s: float = number(
        15.0, "s", "IEEE 802.1D-2004 17.14, from memory", "forward delay: a port listens and learns so long each"
    )
    tree_age_s: float = number(20.0, "s", "IEEE 802.1D-2004 17.14, from memory", "max age: so long an old tree is believed in")
    tree_early_s: float = number(2.0, "s", "derived", "marks come once a second, so that the link-up is not known better")
    tree_late_s: float = number(5.0, "s", "common practice, no source", "other boxes may not speak at once")
    trunk_least: int = number(2, "VLANs", "common practice, no source", "one may be a box that tags by mistake")
    trunk_within_s: float = number(60.0, "s", "common practice, no source", "side by side, not one after the other")

    jitter_tidy_ms: float = number(10.0, "ms", "common practice, no source", "movement is a little uneven")
    jitter_quality_ms: float = number(20.0, "ms", "common practice, no source", "about a frame early or late: movement is jerky")
    jitter_share: float = number(
        0.95, "share", "common practice, no source", "of the gaps differ by less; the rest may be chance"
    )
    jitter_least_gaps: int = number(150, "gaps in 10 s", "common practice, no source", "15 a second: light that moves")
    jitter_steady: float = number(
        0.8, "share", "common practice, no source", "of the gaps have one of three lengths: a frame clock"
    )
    jitter_others: int = number(1, "boxes", "common practice, no source", "heard without jitter at the same time: not the laptop")
    together_s: float = number(0.02, "s", "common practice, no source", "a buffer that overflows throws away so much at a time")
    together_senders: int = number(3, "senders", "common practice, no source", "two may share a cable")
    together_share: float = number(
        0.8, "share", "common practice, no source", "of all losses fall together: nothing is lost alone"
    )

    # ---- Wi-Fi ----
    clump_ms: float = number(15.0, "ms", "common practice, no source", "packets of one clump come within it")
    clump_share: float = number(0.6, "share", "common practice, no source", "of the packets come in clumps")
    clump_early_ms: float = number(
        95.0, "ms", "IEEE 802.11, from memory, derived", "from beacon to beacon: 102.4 ms, a little early"
    )
    clump_late_ms: float = number(
        110.0, "ms", "IEEE 802.11, from memory, derived", "from beacon to beacon: 102.4 ms, a little late"
    )
    air_loss_quality: float = number(0.01, "share", "common practice, no source", "fades step")
    air_loss_soon: float = number(
        0.05, "share", "common practice, no source", "the look breaks on receivers as far away as this laptop"
    )
    roam_pause_s: float = number(
        0.05, "s", "common practice, no source", "the shortest pause that a change of access point makes"
    )
    roam_near_s: float = number(1.0, "s", "common practice, no source", "the laptop tells its access point once a second")
    roam_longest: float = number(2.0, "times", "common practice, no source", "the pause stands out from those before it")
    isolated_after_s: float = number(60.0, "s", "common practice, no source", "other boxes say something within it")
    isolated_asks: int = number(3, "boxes", "common practice, no source", "planned ones, asked for and never heard")

    # ---- joining ----
    listen_first_s: float = number(
        40.0, "s", "common practice, no source", "what arrives unasked tells whether the switch prunes"
    )

    # ---- the plan ----
    plan_strangers: int = number(20, "addresses", "common practice, no source", "laptops, phones and hired boxes of one evening")
    plan_link_mbit: float = number(
        100.0, "Mbit/s", "common practice, no source", "the port of many nodes, where the plan tells none"
    )
    plan_link_share: float = number(0.7, "share", "common practice, no source", "bursts find room above it")
    plan_wait_s: float = number(20.0, "s", "E1.31-2018 4.3, derived", "two intervals of universe discovery: a sender had its say")
    plan_hz: float = number(44.0, "frames/s", "E1.11-2008 table 6", "the fastest that DMX512 allows for 512 slots")

    # ---- where we listen, the laptop, the clock ----
    ordinary_after_s: float = number(60.0, "s", "common practice, no source", "long enough for two foreign boxes to speak")
    nothing_heard_s: float = number(30.0, "s", "common practice, no source", "some box speaks within it, if only the switch")
    no_link_s: float = number(2.0, "s", "common practice, no source", "a plug that is put in bounces for less")
    firewall_s: float = number(5.0, "s", "common practice, no source", "light comes at least once a second")
    firewall_packets: int = number(10, "packets", "common practice, no source", "a few may come before a program asks")
    firewall_stands_s: float = number(30.0, "s", "common practice, no source", "told for so long after the last such packet")
    own_address_wait_s: float = number(60.0, "s", "common practice, no source", "so long an address may take after link-up")
    own_boxes_least: int = number(3, "boxes", "common practice, no source", "fewer show no network")
    two_interfaces_s: float = number(
        10.0, "s", "common practice, no source", "a laptop that changes from air to cable takes less"
    )
    tunnel_s: float = number(5.0, "s", "common practice, no source", "a tunnel that just comes up sorts its routes")
    same_boxes_least: int = number(3, "boxes", "common practice, no source", "one or two may be a router with several sockets")
    same_boxes_share: float = number(0.9, "share", "common practice, no source", "of the boxes that the quieter interface hears")
    behind_s: float = number(2.0, "s", "common practice, no source", "later packets are folded at the clock")
    hole_s: float = number(600.0, "s", "common practice, no source", "a jump in a capture without marks")
    hole_marked_s: float = number(5.0, "s", "derived", "marks come once a second")
    hole_files_s: float = number(
        2.0, "s", "E1.31-2018 6.7.1, derived", "between two files: 2.5 s would be taken for silent light"
    )

    # ---- the life of alerts, and moments in a level history ----
    gather_s: float = number(5.0, "s", "common practice, no source", "rules see a cause and what follows at different speeds")
    flap_within_s: float = number(600.0, "s", "common practice, no source", "so long comings and goings count together")
    flap_openings: int = number(4, "openings", "common practice, no source", "of so many the last makes no new alert")
    flick_stood: int = number(3, "frames", "common practice, no source", "the same before and after: no fade, no running effect")
    flick_dark: int = number(3, "frames", "common practice, no source", "longer darkness may be a hand on a button")
    flick_brief_s: float = number(0.25, "s", "common practice, no source", "a source may send slowly: longer is no flicker")

    # ---- recording ----
    record_mib: float = number(
        256.0, "MiB", "common practice, no source", "half for this session of watch, half for earlier ones"
    )
    journal_mib: float = number(32.0, "MiB", "common practice, no source", "of a watch: five days of 64 universes")
    guard_journal_mib: float = number(256.0, "MiB", "common practice, no source", "of a guard: six weeks of 64 universes")
    talk_mib: float = number(32.0, "MiB", "common practice, no source", "what the rig says but the levels: days of a quiet rig")
    slices_mib: float = number(64.0, "MiB", "common practice, no source", "packets around alerts and marks")
    recent_mib: float = number(160.0, "MiB", "derived", "memory: 80 s of 64 full universes in motion")
    guard_share: float = number(0.1, "share", "common practice, no source", "of the free disk, for the guard's capture")
    guard_least_mib: float = number(2_048.0, "MiB", "derived", "18 minutes of 64 full universes, at 704 octets and 44 Hz")
    guard_reserve_mib: float = number(256.0, "MiB", "common practice, no source", "of the disk the capture leaves to all others")
    slice_around_s: float = number(60.0, "s", "common practice, no source", "before and after each alert and mark that is kept")

    # ---- two sessions compared ----
    compare_least_s: float = number(
        300.0, "s", "common practice, no source", "a box that sends no light may be silent for minutes"
    )
    compare_rate_share: float = number(
        0.2, "share", "common practice, no source", "rates and pauses vary by less from day to day"
    )
    compare_rate_least: float = number(
        3.0, "packets/s", "common practice, no source", "light that stands is repeated about so often"
    )

    # ---- telling ----
    hook_s: float = number(10.0, "s", "common practice, no source", "then on_alert is ended: a message is sent in less")
    hook_per_min: int = number(30, "alerts/min", "common practice, no source", "more at once help nobody")
    cap_hook: int = number(20, "alerts", "common practice, no source", "that wait for on_alert; more are left out")

    # ---- the laptop ----
    battery_low_min: float = number(30.0, "min", "common practice, no source", "time to find a socket")
    tonight_hours: float = number(4.0, "h", "common practice, no source", "an evening's show with its set-up")
    tonight_battery: float = number(0.5, "share", "common practice, no source", "some two hours")

    # ---- tables that a stranger can fill ----
    cap_segments: int = number(64, "entries", "common practice, no source", "more networks than any job has")
    cap_flows: int = number(16_384, "entries", "common practice, no source", "4,000 universes of two sources each, and copies")
    cap_hosts: int = number(4_096, "entries", "common practice, no source", "a /20 full of boxes")
    cap_clients: int = number(4_096, "entries", "common practice, no source", "as many as hosts")
    cap_servers: int = number(64, "entries", "common practice, no source", "two are already a fault")
    cap_declines: int = number(256, "entries", "common practice, no source", "one is a fault already")
    cap_habits: int = number(8_192, "entries", "common practice, no source", "each box asks for two others")
    cap_groups: int = number(4_096, "entries", "common practice, no source", "every universe of a large rig")
    cap_announcers: int = number(256, "entries", "common practice, no source", "more controllers than any job has")
    cap_nodes: int = number(2_048, "entries", "common practice, no source", "512 nodes that answer for four ports each")
    cap_neighbours: int = number(
        256, "entries", "common practice, no source", "more ports of switches than this laptop is plugged into"
    )
    cap_pollers: int = number(256, "entries", "common practice, no source", "more controllers than any job has")
    cap_syncs: int = number(256, "entries", "common practice, no source", "more controllers than any job has")
    cap_records_tick: int = number(256, "records", "common practice, no source", "a storm is counted, not choked on")
    cap_records_mac: int = number(32, "records", "common practice, no source", "one sender can't use up the tick")
    cap_closed: int = number(4_096, "alerts", "common practice, no source", "more than anybody reads")
    cap_known: int = number(1_024, "entries", "common practice, no source", "more than anybody says is known")
    cap_subjects: int = number(64, "alerts", "common practice, no source", "more of one code is one more line")

    def changed(self) -> dict[str, float]:
        """The values that differ from the defaults, by name."""
        return {f.name: getattr(self, f.name) for f in fields(self) if getattr(self, f.name) != f.default}


DEFAULTS = Numbers()
