"""The guards on the server's side: intake, access, pull, calls, photos."""

from .table import Guard

INTAKE = "schedules/phone/intake.py"
TELLERS = "schedules/phone/tellers.py"
CARRY = "schedules/phone/carry.py"
PULL = "schedules/phone/pull.py"
PAIRING = "crews/devices/services.py"
PHOTOS = "equipment/attachments/services.py"
CALLS = "equipment/site/preconditions.py"
T_INTAKE = "tests/schedules/phone/test_intake.py::test_"
T_TELLERS = "tests/schedules/phone/test_tellers.py::test_"
T_PULL = "tests/schedules/phone/test_pull.py::test_"
T_RACES = "tests/concurrency/test_"
T_PHOTOS = "tests/equipment/attachments/test_"
T_PAIRING = "tests/crews/devices/test_pairing.py::test_"

GUARDS = (
    Guard(
        "an event is known by its id",
        "R13",
        INTAKE,
        "self.known = {event.pk: event for event in found if event.pk in asked}",
        "self.known = {}",
        (T_INTAKE + "repeat_gets_the_first_answer_and_changes_nothing",),
    ),
    Guard(
        "numbers have no gap",
        "R13",
        INTAKE,
        "    if told.seq == expected and not is_overtaken:\n",
        "    if told.seq is not None:\n",
        (T_INTAKE + "gap_is_answered_with_the_number_expected_and_nothing_is_kept",),
    ),
    Guard(
        "what was said after an event with a wrong number waits for it",
        "R13",
        INTAKE,
        "if told.seq == expected and not is_overtaken:",
        "if told.seq == expected:",
        (T_INTAKE + "what_was_said_after_an_event_with_a_wrong_number_waits_for_it",),
    ),
    Guard(
        "one sender at a time: the phone's row is locked",
        "R13",
        INTAKE,
        "rows = Device.objects.select_for_update(no_key=True).filter(id=caller.device_id)",
        "rows = Device.objects.filter(id=caller.device_id)",
        (T_RACES + "events.py::test_sender_that_dawdles_takes_nothing_back",),
    ),
    Guard(
        "an id of another's event opens nothing",
        "R27",
        INTAKE,
        "if stored.site_id != caller.site.pk or not is_own:",
        "if False:",
        (
            T_INTAKE + "id_of_somebody_elses_event_is_refused_without_a_word_of_it",
            T_INTAKE + "id_of_another_sites_event_is_refused_alike",
        ),
    ),
    Guard(
        "a repeat gets its first answer, wherever its teller works by now",
        "R13",
        INTAKE,
        "told_there.exists() or ",
        "",
        (T_TELLERS + "repeat_gets_the_first_answer_though_its_teller_works_elsewhere_by_now",),
    ),
    Guard(
        "the first use of a new token ends the old one, also where nothing is new",
        "R28",
        "crews/devices/services.py",
        " AND device.next_made_at IS NULL",
        "",
        ("tests/crews/devices/test_shared.py::test_token_that_is_being_renewed_goes_the_long_way",),
    ),
    Guard(
        "a refusal undoes its event alone and all of it",
        "R14",
        "equipment/site/writes.py",
        "outer.broken |= outer.whole and not no_verb_yet",
        "outer.broken = False",
        (T_INTAKE + "refusal_undoes_all_that_the_event_began_and_tells_nobody_of_it",),
    ),
    Guard(
        "an event at which we break is kept refused",
        "R14",
        INTAKE,
        "failed = None if came_meanwhile else FailedError(_(FAILED))",
        "failed = None",
        (T_INTAKE + "event_at_which_we_break_is_kept_refused_and_blocks_no_other",),
    ),
    Guard(
        "a phone's clock is evidence only, and bounded",
        "R18",
        INTAKE,
        "happened_at=min(max(told.client_at, not_before), received_at),",
        "happened_at=told.client_at,",
        (
            T_INTAKE + "clock_of_a_phone_is_evidence_only_and_bounded",
            T_INTAKE + "what_was_said_later_did_not_happen_before",
        ),
    ),
    Guard(
        "a time without its offset is refused",
        "R10",
        "equipment/site/restfields.py",
        "if parsed is not None and parsed.tzinfo is None:",
        "if False:",
        (
            "tests/config/test_calls.py::test_time_that_could_be_meant_in_two_ways_or_none_is_refused",
        ),
    ),
    Guard(
        "a name on a shared phone is of its crew",
        "R28",
        TELLERS,
        "rows = rows.filter(crew_id=device.crew_id)",
        "pass",
        (T_TELLERS + "who_is_not_of_the_crew_tells_nothing_with_its_phone",),
    ),
    Guard(
        "a lead's name on a shared phone decides nothing",
        "R28",
        TELLERS,
        "    role = MOST.get(Role(worker.role), Role.WORKER)\n    return replace(",
        "    role = Role(worker.role)\n    return replace(",
        (T_TELLERS + "leads_name_on_a_shared_phone_decides_nothing",),
    ),
    Guard(
        "access taken away ends a batch in its midst",
        "R28",
        INTAKE,
        "device = rows.filter(revoked_at=None).first()",
        "device = rows.first()",
        (T_RACES + "pull.py::test_access_taken_away_ends_a_batch_in_its_midst",),
    ),
    Guard(
        "access taken away ends a pull that waits",
        "R28",
        "schedules/phone/scopes.py",
        "phones = theirs.filter(pk=device_id, revoked_at=None)",
        "phones = Device.objects.filter(pk=device_id)",
        (T_RACES + "pull.py::test_access_taken_away_ends_a_pull_that_waits",),
    ),
    Guard(
        "a pairing code works once",
        "R28",
        PAIRING,
        "        used_at=None,\n",
        "",
        (T_PAIRING + "a_code_works_once",),
    ),
    Guard(
        "a pairing code lives ten minutes",
        "R28",
        PAIRING,
        "        expires_at__gt=at,\n",
        "",
        (T_PAIRING + "a_code_is_dead_after_ten_minutes",),
    ),
    Guard(
        "wrong codes are counted",
        "R28",
        PAIRING,
        "tries.n_wrong += 1",
        "tries.n_wrong += 0",
        (T_PAIRING + "the_sixth_try_is_not_even_looked_at_until_the_window_passed",),
    ),
    Guard(
        "wrong codes are counted one after the other",
        "R29",
        PAIRING,
        "PairingTry.objects.select_for_update(no_key=True).get(address=address)",
        "PairingTry.objects.get(address=address)",
        (T_RACES + "pairing.py::test_exactly_the_limit_is_looked_at",),
    ),
    Guard(
        "tokens and codes are kept hashed",
        "R28",
        PAIRING,
        "return hashlib.sha256(secret.encode()).hexdigest()",
        "return secret",
        (
            T_PAIRING + "a_code_pairs_one_phone_and_only_the_hash_of_its_token_is_kept",
            "tests/crews/devices/test_shared.py::test_tokens_are_random_and_only_their_hashes_are_kept",
        ),
    ),
    Guard(
        "an old token ends when the new one is used",
        "R28",
        PAIRING,
        "begun.update(token_hash=digest, next_token_hash=None, next_made_at=None)",
        "begun.update(next_token_hash=digest)",
        (
            "tests/crews/devices/test_shared.py::test_old_token_is_good_until_the_new_one_is_first_used",
        ),
    ),
    Guard(
        "a cursor is signed",
        "R16",
        PULL,
        "epoch, site, scopes, n, version = signing.loads(text, salt=SALT)",
        "from django.core.signing import TimestampSigner, b64_decode; import json, zlib;"
        ' body = text.rsplit(":", 2)[0]; raw = b64_decode(body.lstrip(".").encode());'
        ' raw = zlib.decompress(raw) if body.startswith(".") else raw;'
        " epoch, site, scopes, n, version = json.loads(raw)",
        (T_PULL + "cursor_that_is_not_of_this_site_and_life_gets_everything[changed]",),
    ),
    Guard(
        "a cursor is of one site and life",
        "R23",
        PULL,
        "if known is None or (known.epoch, known.site) != (standing.epoch, site_id):",
        "if known is None:",
        (T_PULL + "cursor_that_is_not_of_this_site_and_life_gets_everything[epoch]",),
    ),
    Guard(
        "who was away too long gets everything",
        "R16",
        PULL,
        "return known if standing.whole_below <= known.n <= standing.n else None",
        "return known if known.n <= standing.n else None",
        (T_PULL + "what_is_gone_comes_without_a_body_until_it_is_forgotten",),
    ),
    Guard(
        "what is gone is told",
        "R16",
        CARRY,
        'row.body, row.digest, row.n, row.gone_at = None, "", state.n, now\n',
        "row.gone_at = now\n",
        (T_PULL + "what_is_gone_comes_without_a_body_until_it_is_forgotten",),
    ),
    Guard(
        "what one may read no more is dropped",
        "R16",
        PULL,
        "dropped = set(known.scopes) - set(reader.scopes) if known else ()",
        "dropped: set[str] = set()",
        (
            "tests/schedules/phone/test_documents.py"
            "::test_who_changes_crew_gets_the_new_crews_whole_and_forgets_the_old",
        ),
    ),
    Guard(
        "a look sees one moment",
        "R16",
        CARRY,
        'cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")',
        'cursor.execute("SELECT 1")',
        (T_RACES + "pull.py::test_look_sees_one_moment",),
    ),
    Guard(
        "whoever waits is told in the commit",
        "R20",
        "equipment/site/writes.py",
        "SELECT version, pg_notify(%s, %s::text) FROM bumped",
        "SELECT version, %s, %s::text FROM bumped",
        (T_RACES + "pull.py::test_bell_that_lost_its_connection_is_heard_again",),
    ),
    Guard(
        "who finds no room to wait is told when to come again",
        "R21",
        "schedules/phone/waiting.py",
        "    if not bell.places.acquire(blocking=False):\n"
        "        return Waited(found, is_crowded=True)\n",
        "    bell.places.acquire(timeout=5)\n",
        (
            T_RACES + "pull.py"
            "::test_who_finds_no_room_to_wait_is_answered_at_once_and_told_when_to_come_again",
        ),
    ),
    Guard(
        "a call has its effect once",
        "R15",
        CALLS,
        "        if not is_new:\n            if row",
        "        if False:\n            if row",
        (
            "tests/config/test_calls.py::test_call_has_its_effect_once_however_often_it_is_sent",
            T_RACES + "calls.py::test_call_sent_by_many_at_once_has_one_effect_and_one_answer",
        ),
    ),
    Guard(
        "a key stands for one call",
        "R15",
        CALLS,
        "if row.fingerprint != fingerprint:",
        "if False:",
        ("tests/config/test_calls.py::test_call_has_its_effect_once_however_often_it_is_sent",),
    ),
    Guard(
        "nobody writes over what they have not read",
        "R19",
        CALLS,
        "if etag not in parse_etags(given):",
        "if False:",
        (
            "tests/schedules/work/test_api.py"
            "::test_change_on_an_old_version_hears_the_new_one_and_who_made_it",
        ),
    ),
    Guard(
        "a lock is its owner's",
        "R17",
        "equipment/flushing/services.py",
        "    if lock.owner_id == by.pk:\n",
        "    if True:\n",
        ("tests/equipment/flushing/test_services.py::test_nobody_else_takes_a_lock_off",),
    ),
    Guard(
        "a photo is made anew from what it shows",
        "R29",
        "equipment/attachments/decoding.py",
        'plain.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)',
        "out.write(body)",
        (
            T_PHOTOS + "decoding.py"
            "::test_nothing_of_the_sender_is_left_in_a_photo_and_it_stands_upright",
            T_PHOTOS + "decoding.py::test_second_file_hidden_in_a_photo_is_gone",
        ),
    ),
    Guard(
        "the room for photos is counted exactly",
        "R29",
        PHOTOS,
        "AttachmentSpace.objects.select_for_update(no_key=True).get(site=caller.site)",
        "AttachmentSpace.objects.get(site=caller.site)",
        (T_RACES + "attachments.py::test_limit_lets_exactly_so_many_through",),
    ),
    Guard(
        "one id is one file",
        "R13",
        PHOTOS,
        "if known.sent_sha256 != sent:",
        "if False:",
        (
            T_PHOTOS
            + "api.py::test_same_file_again_is_the_same_row_and_another_under_its_id_is_refused",
        ),
    ),
    Guard(
        "a file is whole or not there",
        "R22",
        "equipment/attachments/store.py",
        'handle, part = tempfile.mkstemp(dir=target.parent, prefix=".part-")',
        "handle, part = os.open(target, os.O_CREAT | os.O_WRONLY), str(target)",
        (T_PHOTOS + "api.py::test_file_is_whole_or_not_there",),
    ),
    Guard(
        "a file lies under the digest of what is in it",
        "R29",
        PHOTOS,
        "digest = hashlib.sha256(made.body).hexdigest()",
        "digest = hashlib.sha256(attachment_id.bytes).hexdigest()",
        (T_PHOTOS + "api.py::test_same_picture_under_two_ids_is_one_file",),
    ),
)
