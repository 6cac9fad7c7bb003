"""What the enumeration of the gate takes for true of readings and evidence, and who holds it.

Each assumption names the tests that hold it; where one is of the plant and not of the program, it
says so. Without them a table of permissives proves nothing.
"""

EVIDENCE = "tests/sequences/test_evidence.py"
PROVE = "tests/sequences/test_evidence_of_prove.py"
FOLLOWING = "tests/sequences/test_following.py"
GATE = "tests/sequences/test_gate.py"
TRIPS = "tests/stand/test_trips.py"
WHOLE = "tests/stand/test_whole_runs.py"
METER = "tests/drivers/simulated/test_selector.py"
HEAT = "tests/stand/test_heat_runs_cut_short.py"

SOUND: dict[str, tuple[tuple[str, str], ...]] = {
    "a fresh reading of a contact, position or voltage is true; what contradicts it is a trip": (
        (TRIPS, "test_acts_in_time_and_ends_as_the_table_says"),
    ),
    "a reading that is too old says nothing": (
        (GATE, "TestAge.test_of_contacts_positions_and_voltages"),
    ),
    "a guard that was open, or unwatched, since leaves no evidence": (
        (EVIDENCE, "TestGuard.test_an_open_guard_leaves_nothing"),
        (EVIDENCE, "TestGuard.test_a_guard_opened_and_shut_between_two_scans_leaves_nothing"),
        (EVIDENCE, "TestGuard.test_a_guard_that_nobody_reads_may_have_been_open"),
    ),
    "who answers a prompt as it was put looked first; nobody gets in behind a shut guard": (
        (EVIDENCE, "TestAnswers.test_an_answer_to_an_earlier_putting_is_no_evidence"),
        (EVIDENCE, "TestAnswers.test_other_words_under_the_same_name_are_another_prompt"),
    ),
    "contactors once seen open are open unless told otherwise; one that is not is a trip": (
        (EVIDENCE, "TestContactorsAndWatchdog.test_both_contactors_have_to_be_seen_open"),
        (TRIPS, "test_acts_in_time_and_ends_as_the_table_says"),
    ),
    "a watchdog relay seen to drop and to pick up drops again": (
        (
            EVIDENCE,
            "TestContactorsAndWatchdog.test_the_watchdog_acts_by_dropping_and_picking_up_again",
        ),
    ),
    "an intent is in a scan only once it is in the archive": (
        (GATE, "test_the_intent_has_to_be_of_this_closing"),
        (WHOLE, "TestOpposition.test_every_closing_has_its_intent_in_the_record_first"),
    ),
    "what shows no aiding at this closing is not aiding until the next": (
        (PROVE, "TestNotAiding.test_current_at_closing_is"),
        (PROVE, "TestNotAiding.test_a_dead_bus_shows_nothing"),
        (PROVE, "TestNotAiding.test_opening_voids_it"),
    ),
    "a proven loop is closed, its ammeter alive, its impedance as measured": (
        (PROVE, "TestLoop.test_it_follows_within_a_sixth"),
        (PROVE, "TestLoop.test_a_contradiction_voids_it"),
    ),
    "an impedance is within a tenth of the nameplate's": (
        (PROVE, "TestLoop.test_it_follows_within_a_sixth"),
    ),
    "a complete proof is of a pair with nothing wrong": (
        (PROVE, "TestProofComplete.test_it_needs_loop_and_wattmeter_and_voltmeter"),
        (PROVE, "TestProofComplete.test_a_loop_that_contradicts_it_later_voids_it"),
    ),
    "opposition shown by a proven voltmeter within two polls still stands": (
        (PROVE, "TestOpposition.test_r_above_its_limit_voids_it_and_leaves_the_gap_known"),
        (PROVE, "TestOpposition.test_it_needs_a_complete_proof"),
    ),
    "with the loop closed since opposition was shown, nothing opposes less: or it is a trip": (
        (TRIPS, "test_acts_in_time_and_ends_as_the_table_says"),
    ),
    "after a trip, and with the guard open while energised, evidence is revoked": (
        (GATE, "test_what_was_revoked_meets_nothing_even_where_no_permissive_is_unmet"),
        (EVIDENCE, "TestGuard.test_what_a_trip_revoked_stays_revoked_behind_an_open_guard"),
    ),
    "a selector told to another position lets its d.c. die away first: of the plant": (
        (METER, "TestAlone.test_it_moves_on_through_open"),
        (HEAT, "TestSelector.test_one_with_two_positions_goes_round_them_each_alone"),
    ),
    "a supply read since its last move is where it was left; one gone astray later is a trip": (
        (TRIPS, "test_acts_in_time_and_ends_as_the_table_says"),
    ),
    "a supply loses the part of its voltage that it read to lose where it last followed a raise": (
        (GATE, "TestLvCap.test_a_drop_counts_up_to_a_fifth_and_a_larger_one_is_none"),
        (GATE, "TestLvCap.test_a_drop_that_is_only_read_counts_for_nothing"),
        (FOLLOWING, "test_a_voltage_that_does_not_come_up_shows_nothing"),
    ),
    "while a contactor is closed, a critical channel that nobody reads is a trip": (
        (TRIPS, "test_acts_in_time_and_ends_as_the_table_says"),
    ),
}
