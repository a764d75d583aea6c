"""Where each finding of the catalogue has its failing case (it speaks) and its passing one (it is silent)."""

from __future__ import annotations

from typing import Final

_SHEET: Final = "intake/test_sheet_files.py"
_TRANSLATE: Final = "intake/test_translate.py"
_MORE: Final = "intake/test_translate_more.py"
_RECORDS: Final = "intake/test_records.py"
_HEADER: Final = "intake/test_header.py"
_READ: Final = "intake/test_read.py"
_COLLECT: Final = "intake/test_collect.py"
_ASIDE: Final = "intake/test_set_aside.py"
_FATES: Final = "sql/samplings/test_record_fates.py"
_ORDER: Final = "sql/samplings/test_file_order.py"
_SAMPLINGS: Final = "sql/judgement/test_sampling_findings.py"
_METERS: Final = "sql/judgement/test_meter_findings.py"
_WATER: Final = "sql/judgement/test_water_findings.py"
_LISTS: Final = "sql/judgement/test_list_findings.py"
_SITE: Final = "sql/judgement/test_site_questions.py"

_ONE_LINE: Final = (f"{_TRANSLATE}::problem_of_a_reading", f"{_TRANSLATE}::full_reading")
_BOX: Final = (f"{_SHEET}::what_cannot_be_used_says_what_to_write", f"{_SHEET}::a_whole_line")
_STANDS: Final = f"{_FATES}::a_reading_of_a_standing_lot_is_accepted"
_FROM_TO: Final = f"{_FATES}::a_reading_lies_between_the_start_and_the_end_of_its_lot"
_TAKEN: Final = f"{_COLLECT}::new_files_are_taken_with_their_facts"
_LINKS: Final = f"{_COLLECT}::links"
_AT_ITS_LIMIT: Final = (
    f"{_SAMPLINGS}::each_rule_finds_what_it_is_about",
    f"{_SAMPLINGS}::each_rule_is_silent_at_its_limit",
)
# one parametrised test, with what speaks and what is accepted side by side
_EACH_METER: Final = (f"{_METERS}::each_remark", f"{_METERS}::each_remark")
_ALKALINITY: Final = (f"{_WATER}::alkalinity_by_container", f"{_WATER}::alkalinity_by_container")
_FEED: Final = (
    f"{_WATER}::the_feed_less_the_water_against_what_it_should_add",
    f"{_WATER}::the_feed_less_the_water_against_what_it_should_add",
)

CASES: Final[dict[str, tuple[str, str]]] = {
    "lot_unknown": (f"{_FATES}::a_lot_in_no_list_holds_its_readings_under_its_code", _STANDS),
    "lot_held": (f"{_FATES}::a_lot_whose_line_is_held_holds_its_readings", _STANDS),
    "place_unclear": (
        f"{_FATES}::a_place_that_fits_no_lot_or_two_holds_the_reading",
        "sql/samplings/test_usable_readings.py::a_reading_without_a_code_takes_the_class_of_the_lot_at_its_place",
    ),
    "date_unreadable": _ONE_LINE,
    "week_unreadable": (
        f"{_TRANSLATE}::week_that_cannot_be_read",
        f"{_TRANSLATE}::week_and_year_stand_for_the_site_s_day",
    ),
    "days_disagree": (
        f"{_TRANSLATE}::cells_that_name_different_days_hold_the_line",
        f"{_TRANSLATE}::days_of_a_week_by_another_rule_are_in_it",
    ),
    "number_unreadable": _ONE_LINE,
    "value_unknown": _ONE_LINE,
    "sheet_day": (
        f"{_SHEET}::days_that_could_be_two_or_none_are_held",
        f"{_SHEET}::days_that_can_be_no_other",
    ),
    "sheet_word": (_BOX[0], f"{_SHEET}::conditions"),
    "other_site": (_BOX[0], f"{_SHEET}::a_line_may_name_its_site_or_none"),
    "drain_backwards": (_BOX[0], f"{_SHEET}::times_of_day"),
    "missing": _ONE_LINE,
    "nothing_measured": _ONE_LINE,
    "until_before_from": (
        f"{_MORE}::an_excuse_that_ends_before_it_begins",
        f"{_MORE}::an_excuse_of_one_day_ends_as_it_begins",
    ),
    "ragged": (f"{_RECORDS}::ragged_record_names_both_numbers", f"{_RECORDS}::one_line_into_cells"),
    "quoting": (
        f"{_RECORDS}::text_after_a_closing_quote_is_a_problem_of_one_line",
        f"{_RECORDS}::quoted_line_ends_are_part_of_the_cell",
    ),
    "nul_bytes": (
        f"{_RECORDS}::zero_byte_is_a_problem_of_its_record_only",
        f"{_RECORDS}::one_line_into_cells",
    ),
    "looks_like_data": (
        f"{_ASIDE}::a_line_with_the_cells_of_a_reading_is_no_comment",
        f"{_ASIDE}::a_comment_stays_one",
    ),
    "method_missing": (
        "checks/test_sift.py::method_named_by_nobody",
        "checks/test_sift.py::ec_on_the_scale",
    ),
    "ph_out_of_scale": ("checks/test_sift.py::ph_out_of_scale", "checks/test_sift.py::ph_on_the_scale"),
    "ec_out_of_scale": ("checks/test_sift.py::ec_out_of_scale", "checks/test_sift.py::ec_on_the_scale"),
    "ph_ec_swapped": (
        "checks/test_swapped.py::a_file_with_ph_and_ec_exchanged_is_held",
        "checks/test_swapped.py::a_single_odd_line_proves_nothing",
    ),
    "in_future": (_FROM_TO, f"{_FATES}::a_reading_of_the_as_of_date_is_not_in_the_future"),
    "before_start": (_FROM_TO, _FROM_TO),
    "after_end": (_FROM_TO, _FROM_TO),
    "older_file": (
        f"{_ORDER}::an_older_history_withdraws_nothing_and_its_own_lines_do_not_rule",
        f"{_ORDER}::increments_other_exports_files_of_one_night_and_held_ones_stay_as_they_came",
    ),
    "site_removed": (
        f"{_FATES}::a_site_that_is_taken_away_holds_its_lines_until_it_comes_back",
        f"{_FATES}::a_site_that_stays_holds_nothing_when_another_goes",
    ),
    "encoding": (
        "intake/test_decode.py::wrong_encoding_names_byte_line_and_the_right_one",
        "intake/test_decode.py::right_encoding_reads_the_text",
    ),
    "delimiter": (
        f"{_HEADER}::wrong_delimiter_is_told_from_changed_columns",
        f"{_HEADER}::unknown_header_is_no_matter_of_the_delimiter",
    ),
    "columns_changed": (
        f"{_HEADER}::renamed_column_is_named_with_the_nearest_header",
        f"{_HEADER}::order_case_blanks_and_further_columns_do_not_matter",
    ),
    "columns_moved": (
        f"{_HEADER}::moved_columns_are_named",
        f"{_HEADER}::columns_that_did_not_move_or_may",
    ),
    "units_changed": (
        f"{_HEADER}::a_row_of_units_that_contradicts_the_settings",
        f"{_HEADER}::a_row_of_units_that_agrees_or_says_nothing",
    ),
    "empty_file": (f"{_READ}::empty_file", f"{_READ}::clean_file"),
    "header_only": (f"{_READ}::header_only_is_said_and_holds_nothing", f"{_READ}::clean_file"),
    "claimed_twice": (
        f"{_COLLECT}::two_exports_of_one_kind_must_not_share_a_file",
        f"{_COLLECT}::exports_of_different_kinds_may_share_a_file",
    ),
    "bad_name": (f"{_COLLECT}::name_that_is_not_utf8", _TAKEN),
    "changing": (f"{_COLLECT}::file_that_changes_while_it_is_read", _TAKEN),
    "gone": (f"{_COLLECT}::file_that_is_gone_when_it_is_to_be_read", _TAKEN),
    "unreadable": (f"{_COLLECT}::unreadable_file_and_the_rest_goes_on", _TAKEN),
    "not_a_file": (f"{_COLLECT}::pipes_and_sockets_do_not_hang_the_night", _TAKEN),
    "directory": (f"{_COLLECT}::folder_where_a_file_should_be", _TAKEN),
    "dangling_link": (_LINKS, _LINKS),
    "looping_link": (_LINKS, _LINKS),
    "leaves_folder": (_LINKS, _LINKS),
    "no_drop_folder": (f"{_COLLECT}::missing_drop_folder", _TAKEN),
    "unreadable_folder": (
        "bad_input/test_unreadable.py::a_folder_that_may_not_be_read_is_named_and_the_rest_done",
        "bad_input/test_unreadable.py::a_folder_that_may_be_read_is_no_trouble",
    ),
    "linked_folder": (f"{_COLLECT}::linked_folders_are_not_followed", _TAKEN),
    "settling": (
        f"{_COLLECT}::file_that_has_just_been_changed_waits_for_the_next_night",
        f"{_COLLECT}::file_that_is_known_need_not_settle",
    ),
    "unclaimed": (f"{_COLLECT}::files_that_no_export_claims_are_named_but_not_hidden_ones", _TAKEN),
    "new_columns": (
        "test_corrections.py::a_column_that_no_field_takes_is_said_once",
        "test_corrections.py::a_column_that_no_field_takes_is_said_once",
    ),
    **dict.fromkeys(
        (
            *("volume_not_recorded", "over_collected", "under_collected", "volume_excludes_ec"),
            *(
                "unequal_volumes",
                "no_temperature",
                "odd_temperature",
                "poured_off_recipe",
                "poured_not_distilled",
            ),
            *("more_than_poured", "drain_time", "affected_in_routine", "uneven_ph", "uneven_ec"),
            *("all_alike", "too_few_pots"),
        ),
        _AT_ITS_LIMIT,
    ),
    "ec_below_water": (
        f"{_SAMPLINGS}::leachate_below_its_source_water",
        f"{_SAMPLINGS}::a_sampling_by_the_book_has_no_finding",
    ),
    "meter_in_doubt": (
        f"{_SAMPLINGS}::a_meter_in_doubt_says_only_that_and_names_the_check",
        f"{_SAMPLINGS}::a_meter_calibrated_that_day_is_no_finding",
    ),
    "meter_not_calibrated": (
        f"{_SAMPLINGS}::a_meter_without_a_check_that_day",
        f"{_SAMPLINGS}::a_meter_calibrated_that_day_is_no_finding",
    ),
    "outlier_ph": (
        f"{_SAMPLINGS}::a_pot_that_lies_apart",
        f"{_SAMPLINGS}::a_pot_that_lies_less_far_is_no_finding",
    ),
    "outlier_ec": (
        f"{_SAMPLINGS}::a_pot_that_lies_apart",
        f"{_SAMPLINGS}::a_pot_that_lies_less_far_is_no_finding",
    ),
    "one_bench": (
        f"{_SAMPLINGS}::pots_of_one_bench_where_the_lot_stands_on_more",
        f"{_SAMPLINGS}::a_lot_that_was_never_read_on_another_bench_may_stand_on_one",
    ),
    "one_position": (
        f"{_SAMPLINGS}::pots_of_one_kind_of_place",
        f"{_SAMPLINGS}::one_pot_from_elsewhere_is_enough",
    ),
    "same_as_before": (
        f"{_SAMPLINGS}::the_same_figures_as_before_are_asked_about",
        f"{_SAMPLINGS}::one_pot_that_differs_is_enough",
    ),
    "too_fast": (
        f"{_SAMPLINGS}::pots_that_were_read_too_fast",
        f"{_SAMPLINGS}::one_time_for_all_pots_says_nothing_of_the_pace",
    ),
    "entered_late": (
        f"{_SAMPLINGS}::a_reading_that_came_late",
        f"{_SAMPLINGS}::records_from_before_the_first_night_are_not_late",
    ),
    "reading_corrected": (
        f"{_SAMPLINGS}::a_reading_that_replaced_another_is_noted",
        f"{_SAMPLINGS}::a_sampling_by_the_book_has_no_finding",
    ),
    "sent_again": (
        f"{_SAMPLINGS}::readings_that_a_file_adds_under_its_name_without_those_before_are_remarked_on",
        f"{_SAMPLINGS}::more_pots_a_correction_or_another_file_are_not",
    ),
    **dict.fromkeys(
        (
            *("solution_expired", "slope_marginal", "slope_failed", "offset_failed", "buffer_off"),
            *("ec_standard_off", "check_marked_failed", "buffers_unread"),
        ),
        _EACH_METER,
    ),
    "buffers_not_bracketing": (
        f"{_SAMPLINGS}::buffers_that_do_not_bracket_the_readings",
        f"{_SAMPLINGS}::a_meter_calibrated_that_day_is_no_finding",
    ),
    "site_silent": (
        "test_demo.py::a_site_that_sends_nothing_is_quiet_after_four_nights",
        "sql/judgement/test_site_states.py::silent_from_the_third_night_without_a_file",
    ),
    "crop_unknown": (
        "reports/test_unknown_crops.py::an_unknown_crop_is_a_finding_with_the_nearest_name",
        "reports/test_unknown_crops.py::known_crops_and_own_targets_are_no_finding",
    ),
    "policy_crop_unknown": (
        "reports/test_unknown_crops.py::a_crop_of_the_policy_with_a_slip_in_it_is_told",
        "reports/test_unknown_crops.py::a_crop_of_the_policy_with_a_slip_in_it_is_told",
    ),
    "alkalinity_outside": _ALKALINITY,
    "alkalinity_acid": _ALKALINITY,
    "feed_weak": _FEED,
    "feed_strong": _FEED,
    "feed_below_water": _FEED,
    "lot_not_listed": (
        f"{_LISTS}::planted_lots_that_the_lot_list_lacks",
        f"{_LISTS}::a_planting_list_without_gaps",
    ),
    "sampler_not_trained": (
        f"{_LISTS}::samplers_without_training",
        f"{_LISTS}::where_no_people_are_sent_nobody_is_asked_about",
    ),
    "lot_code_twice": (
        f"{_LISTS}::codes_that_differ_only_in_case",
        f"{_LISTS}::a_code_that_was_put_right_is_not_two",
    ),
    "lot_gone": (
        f"{_LISTS}::a_lot_that_left_the_whole_list_while_readings_of_it_came",
        f"{_LISTS}::a_lot_that_is_listed_again_or_never_was_is_not_gone",
    ),
    "lot_ends_first": (
        f"{_LISTS}::a_lot_that_ends_before_it_starts",
        f"{_LISTS}::a_lot_of_one_day_or_without_an_end_is_no_remark",
    ),
    "pots_not_told_apart": (
        f"{_LISTS}::numbers_that_do_not_tell_pots_apart_are_said_once",
        f"{_LISTS}::distinct_numbers_are_no_remark",
    ),
    "last_digits": (
        f"{_SITE}::digits_that_are_preferred_are_asked_about",
        f"{_SITE}::even_digits_ask_nothing",
    ),
    "whole_ec": (f"{_SITE}::whole_numbers_of_ec", f"{_SITE}::fewer_whole_numbers_ask_nothing"),
    "scale_jump": (f"{_SITE}::a_scale_that_jumps", f"{_SITE}::a_moderate_change_is_no_jump"),
    "front_of_bench": (
        "sql/judgement/test_front_of_bench.py::forty_of_forty_eight_from_the_front",
        "sql/judgement/test_front_of_bench.py::pots_from_the_back_are_no_finding",
    ),
}
"""By the finding's name: file below tests/ and test, without its `test_`; first it speaks, then it is silent."""
