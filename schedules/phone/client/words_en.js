// @ts-check
// The phone's words in English. words_es.js has the same keys; a test holds that.
// A list holds the forms of a plural: one, (Spanish: millions), all others.

/** @type {Record<string, string | string[]>} */
export const EN = {
  // places to go
  my_jobs: "My jobs", tell_us: "Tell us", cows: "Cows", machines: "Machines", locks: "Locks", more: "More", me: "Me",
  sent: "Sent?", crew_now: "My crew now", crew: "Crew", walk: "Walk-round", handover: "Handover", look: "Needs a look",
  problems: "Problems", service: "Service", back: "Back",

  // this phone
  pair_title: "Pair this phone", pair_how: "Ask your lead for a code. It works for 10 minutes.", pair_code: "Code", pair: "Pair",
  fetching: "Getting your work…", pair_again: "This phone must be paired again.", pair_kept: ["1 thing is kept here. It goes after pairing.", "{n} things are kept here. They go after pairing."],
  no_answer: "No answer. Try again where there is signal.", insecure: "This page needs a secure address (https). Tell your manager.", keeps_nothing: "This phone keeps nothing here (private window?). Open an ordinary window.",
  who_are_you: "Who are you?", nobody_here: "No names on this phone yet. Send now where there is signal.", your_pin: "Your PIN",
  pin_wrong: "That PIN is not right.", pin_wait: ["Wait 1 second, then try again.", "Wait {n} seconds, then try again."],
  no_pin: "You have no PIN yet. Choose 4 digits.", pin_again: "The same 4 digits again", pin_differs: "Those were not the same. Once more.",
  pin_kept: "Your PIN is kept.", set_pin: "My PIN", new_pin: "Choose 4 digits", forgot_pin: "Forgot it? Your lead can reset it.", not_me: "I am not {name}",
  somebody_else: "Somebody else", shared_phone: "Phone of {crew}", signed_in: "Here now: {name}",
  people: "People and PINs",
  delete: "Delete", digits_in: ["1 digit in", "{n} digits in"],

  // whether it went through
  saved_here: "Saved on this phone", saved: "Saved", sending: "Sending…", all_sent: "All sent", needs_you: ["1 needs you", "{n} need you"],
  send_now: "Send now", nothing_said: "Nothing said yet. It shows here when you tap Start.", refused: "Not accepted", other_farm: "Not sent: this phone was paired with another farm. Tell your lead.", seen: "I have read it",
  sent_ok: "Sent", photos_waiting: ["1 photo or voice note waits", "{n} photos or voice notes wait"], tell_again: "Put it right", taken_back: "Taken back", too_late: "Sent already: it stands.",
  goes_alone: "It goes by itself where there is signal.", undo: "Undo",
  as_of: "As of {when}", old_news: "Last heard {when}", never_heard: "Not heard from the farm yet", new_version: "A new version is ready", take_it: "Take it now",

  // jobs
  no_jobs: "No job for you now. Ask your lead.", after_that: "After that", closed: "Closed", start: "Start", done: "Done", part: "Part", could_not: "Could not",
  to_do: "To do", under_way: "Under way", part_done: "Part done", waiting_on: "Waiting on {what}", late: "Late", before: "Before {when}", with: "With {what}",
  stalls: ["1 stall", "{n} stalls"], loads: ["load", "loads"], load: "+1 load", n_loads: ["1 load", "{n} loads"], how: "How", read_aloud: "Read aloud",
  how_many_left: "How many are left?", left_over: ["1 left", "{n} left"], why_not: "Why not?", why_more: "In your own words",
  why_broken: "Machine broken", why_cows: "Cows in the way", why_sand: "No sand", why_time: "No time left", why_unsafe: "Not safe", why_ice: "Ice",
  goes_to: "Where did it go?", moisture: "Moisture test", moisture_pct: "Moisture, %", basis: "Basis", wet: "Wet basis", dry: "Dry basis", spots: "Spots",
  job_gone: "This job is no longer here.", last_picture: "The last photo from here",

  // safety
  caution: "CAUTION", warning: "WARNING", danger: "DANGER",
  needs_lock: "Lock the valve first, tag it, try it. A lock recorded here stops no valve.",
  lock_missing: "No lock of yours is on record here.", lock_on_start: "My lock is on: start", start_unlocked: "Start without my lock: my lead is asked to look",
  lock_on: "My lock is on", lock_off: "My lock is off", lock_note: "Isolate first: lock, tag, try. This record stops no valve, pump or machine.",
  what: "What is locked", owner: "Owner: {name}", since: "Since {when}", no_locks: "No lock is on record. Put yours on before you go in.", put_lock: "Put my lock on", place_now: "Which place?",
  your_rules: "First your farm's own rules, and your lead. This phone cannot see what is dangerous.",
  caution_lone: "Alone? Tell your lead where you are.", caution_flush: "Flush water comes without warning: lock, tag, try.", caution_machine: "Key out, arms down before you reach in.",
  cautions: "Take care",

  // machines
  read_meter: "Hours", look_round: "Before I start", held: "Out of use", no_machines: "No machine is on this phone yet. Ask your lead.", meter: "Hour meter",
  last: "Last: {what}", no_reading: "No reading yet", less: "Less", save: "Save", number_needed: "Write a number, such as 1250.5.",
  words_few: "Write a few words.", send_first: "Send all first, then take it.", not_saved: "Not saved: this phone is full. Tell your lead.",
  lock_short: "Lock the valve first: lock, tag, try.", must_hold: "Must be right, or park it", also_look: "Also look at", no_photo: "That photo could not be kept. Take it again.",
  which_number: "Which one do you mean?", lower: "That is lower than last time.", too_many: "That is more than 24 hours a day.", fix_number: "Change the number",
  new_meter: "It is a new meter", meter_right: "The number is right", due_now: "Due now: {what}", due_in: "{what}: {left} left", due_by: "{what}: by {when}", nothing_due: "Nothing comes due soon.",
  good: "OK", not_good: "Not OK", can_work: "Can it work today?", yes: "Yes", no: "No", all_lines: ["1 line still needs an answer.", "{n} lines still need an answer."],
  no_lines: "No list for this machine. Look round it as your lead says.", run: "Run it", with_care: "Run it with care", park: "Park it",
  park_why: "Out of the plan until somebody clears it.", care_why: "Your lead is told what is not OK.", run_why: "All lines are OK.",
  park_it: "Park it", why_park: "Why park it?",
  service_sheet: "Service sheet",

  // tell us
  problem: "What is wrong?", where: "Where", place: "Place", machine: "Machine", none: "None", is_danger: "Someone could be hurt", send: "Send", photo: "Photo", n_photos: ["1 photo", "{n} photos"],
  voice: "Voice note", stop: "Stop", recording: "Recording {s}", voice_ready: "Voice note {s}", no_mic: "This phone may not use its microphone.", no_voice: "This phone cannot record. Write or take a photo.",
  words_needed: "Take a photo, or tap what is wrong.", in_words: "In your own words", see_photo: "See the photo", hear_note: "Hear the voice note", told: "Told: thank you", on_job: "Photo of this job",
  p_broken: "Broken", p_leak: "Leak", p_blocked: "Blocked", p_slippery: "Slippery", p_animal: "Hurt cow", p_other: "Other",

  // cows
  no_visits: "No cows are called in the next hours.", pen_called: "Called", pen_last_out: "Last cow out", pen_first_back: "First cow back", pen_last_back: "Last cow back", empty: "Empty {when}",

  // leads
  give: "Give to somebody else",

  taken: "Taken",
  write_handover: "Write a handover",

  // me
  hours_today: "My hours today, by plan", hours_none: "No job of today is on this phone.", n_jobs: ["1 job", "{n} jobs"], night: "Night", day: "Day", light: "Light", language: "Español", language_word: "Language", phone_is: "This phone",
  nudges: "Nudges", nudge_phone: "Nudge this phone", nudge_what: "A short note when something is new. It tells no details. All of it shows here anyway.", nudge_note: "Something is new in your work",
  nudge_denied: "This phone allows no notes. Change it in its settings.", nudge_iphone: "On an iPhone, put this page on the home screen, then open it there.", nudge_cannot: "This browser takes no nudges. All shows here anyway.",
  nudge_off: "Your farm sends no nudges. Ask your manager.",
  ends_at: "Last job ends {when}", noon: "noon", midnight: "midnight", h: "h", min: "min",

  // what was said, where the button's word would not do
  k_reading: "Hours", k_check: "Before I start", k_language: "Language", k_photo: "Photo", k_hold: "Park it", k_service: "Service done", k_hand_over: "Hand over", k_take_handover: "Handover taken", k_walk: "Walk-round", k_settle: "Decided",
  k_answer_problem: "Answered", k_give: "Given", k_set_pin: "My PIN", k_reset_pin: "Reset PIN", k_undo: "Undo", k_level: "Level",
};
