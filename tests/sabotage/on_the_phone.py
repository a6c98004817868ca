"""The guards on the phone's side: storage, outbox, pull, names, program."""

from .table import Guard

CLIENT = "schedules/phone/client/"
DISK, STORE, OUTBOX = CLIENT + "disk.js", CLIENT + "store.js", CLIENT + "outbox.js"
T_MODULES = "tests/schedules/phone/client/test_modules.py::test_module"
T_HISTORIES = "tests/simulator/test_simulator.py::test_short_row_of_histories_holds_what_must_hold"
T_OFFLINE = "tests/schedules/phone/test_without_signal.py::test_"

GUARDS = (
    Guard(
        "cursor and documents are kept in one step",
        "R16",
        CLIENT + "pull.js",
        "await takePulled(pulled, facts, epoch, unsure !== null);",
        "await setFacts({ cursor: pulled.cursor }); "
        "await takePulled(pulled, facts, epoch, unsure !== null);",
        (
            T_MODULES
            + "[phone_cut_off_anywhere_in_a_pull_has_the_documents_with_their_cursor_or_neither]",
        ),
    ),
    Guard(
        "a phone paired anew asks what the farm holds of what it keeps",
        "R13",
        STORE,
        "pair_again: false, is_unsure: true",
        "pair_again: false",
        (T_MODULES + "[load_that_came_in_over_the_pairing_before_is_counted_once]",),
    ),
    Guard(
        "work whose ending is taken back stands as begun as the farm has it",
        "R16",
        CLIENT + "view.js",
        " || shown?.is_begun",
        "",
        (T_MODULES + "[ending_that_is_taken_back_leaves_the_work_as_begun_as_the_farm_has_it]",),
    ),
    Guard(
        "a connection that fails is opened anew",
        "R12",
        DISK,
        "    return attempt(stores, mode, work);\n  }\n}",
        "    throw error;\n  }\n}",
        (T_MODULES + "[one_failed_call_of_the_storage_loses_nothing]",),
    ),
    Guard(
        "saved means written to the disk",
        "R12",
        DISK,
        '{ durability: "strict" }',
        "{}",
        (T_MODULES + "[what_is_said_is_written_through_to_the_disk]",),
    ),
    Guard(
        "five wrong PINs make the phone wait",
        "R28",
        CLIENT + "who.js",
        "if (tries.n >= MAX_WRONG && waited_ms < WAIT_MS)",
        "if (false)",
        (
            T_MODULES
            + "[five_wrong_pins_make_the_phone_wait_a_minute_and_a_person_ends_after_fifteen_idle]",
        ),
    ),
    Guard(
        "nobody speaks on a phone that lay idle",
        "R28",
        CLIENT + "who.js",
        "person && Math.abs(now() - person.at) < IDLE_MS",
        "person",
        (
            T_MODULES
            + "[five_wrong_pins_make_the_phone_wait_a_minute_and_a_person_ends_after_fifteen_idle]",
        ),
    ),
    Guard(
        "a photo stays until the farm has answered",
        "R12",
        CLIENT + "files.js",
        "if (reply?.ok) {",
        "if (!reply || reply.ok) {",
        (T_MODULES + "[files_go_out_oldest_first_and_stay_where_they_are_not_taken]",),
    ),
    Guard(
        "a lost token asks for pairing",
        "R28",
        OUTBOX,
        "await losePairing(token);",
        "",
        (T_MODULES + "[farm_that_asks_for_time_gets_it_and_a_lost_token_asks_for_pairing]",),
    ),
    Guard(
        "a farm that asks for time gets it",
        "R21",
        OUTBOX,
        "failed(retryAfter(reply));",
        "failed(0);",
        (T_MODULES + "[farm_that_asks_for_time_gets_it_and_a_lost_token_asks_for_pairing]",),
    ),
    Guard(
        "what was said is laid over what was pulled",
        "R17",
        CLIENT + "view.js",
        "if (isComparable) return (event.answer?.version ?? 0) > who.version;",
        "if (isComparable) return false;",
        (T_HISTORIES,),
    ),
    Guard(
        "nothing is let go before a backup has it",
        "R23",
        STORE,
        "if (at <= backed_up || (",
        "if (at <= pulled || (",
        (T_HISTORIES,),
    ),
    Guard(
        "a restore is noticed",
        "R23",
        STORE,
        "if (known === null || known === epoch) { goOn(); return; }",
        "goOn(); return;",
        (T_HISTORIES,),
    ),
    Guard(
        "photos go out again after a restore",
        "R23",
        STORE,
        'if (cursor.value.state === "sent") cursor.update({ ...cursor.value, state: "waiting" });',
        "",
        (T_HISTORIES,),
    ),
    Guard(
        "what waits is numbered as the farm expects it",
        "R13",
        OUTBOX,
        "if (isOff) await renumber(expected);",
        "",
        (T_MODULES + "[what_waits_is_numbered_as_the_farm_expects_it]",),
    ),
    Guard(
        "an event that cannot be read holds up no other",
        "R14",
        OUTBOX,
        "if (isUnreadable) return refuse(batch[0], await reply.json());",
        "",
        (T_HISTORIES,),
    ),
    Guard(
        "the program is kept whole or not at all",
        "R20",
        CLIENT + "sw.js",
        "if (!reply.ok || found !== digest)",
        "if (!reply.ok)",
        (T_OFFLINE + "program_of_mixed_versions_is_not_taken",),
    ),
    Guard(
        "a newer program waits until all is sent",
        "R20",
        CLIENT + "app.js",
        "return nUnsent() === 0 && takeUpdate();",
        "return takeUpdate();",
        (T_OFFLINE + "newer_program_waits_until_all_is_sent",),
    ),
    Guard(
        "an unasked drawing never takes the keys from who types",
        "R12",
        CLIENT + "main.js",
        "if (isDown || isTyping() || isPlaying())",
        "if (isDown || isPlaying())",
        (
            "tests/schedules/phone/test_screens_taps.py"
            "::test_what_is_typed_outlives_a_drawing_that_nobody_asked_for",
        ),
    ),
)
