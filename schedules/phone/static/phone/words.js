// @ts-check
// Every word of the phone, in both languages. Keys are the same in both; a test holds that.

/** @type {Record<string, Record<string, string>>} */
export const WORDS = {
  en: {
    my_jobs: "My jobs", machines: "Machines", locks: "Locks", tell_us: "Tell us", cows: "Cows", sent: "Sent?",
    pair_title: "Pair this phone", pair_how: "Ask your lead for a code. It works for 10 minutes.", pair_code: "Code", pair: "Pair",
    pair_again: "This phone must be paired again.", no_jobs: "No job for you now. Ask your lead.",
    start: "Start", done: "Done", part: "Part", could_not: "Could not", back: "Back", save: "Save", undo: "Undo",
    how_many_left: "How many are left?", why_not: "Why not?", load: "+1 load", loads: "loads",
    before: "Before", with: "With", to_do: "To do", under_way: "Under way", part_done: "Part done", waiting_on: "Waiting on",
    needs_lock: "Lock the valve first, tag it, try it. A lock recorded here stops no valve.",
    lock_missing: "No lock of yours is on record here.", lock_on_start: "My lock is on: start", start_unlocked: "Start without my lock: my lead is asked to look",
    hours: "Meter, hours", last: "Last", reason: "Reason", new_meter: "It is a new meter", read_meter: "Hours", look_round: "Before I start",
    good: "OK", not_good: "Not OK", can_work: "Can it work today?", yes: "Yes", no: "No",
    run: "Run it", with_care: "Run it with care", park: "Park it. It is out of the plan until it is cleared.",
    held: "Out of use", lock_on: "My lock is on", lock_off: "My lock is off", place: "Place", what: "What is locked",
    lock_note: "Isolate first: lock, tag, try. This record stops no valve, pump or machine.", owner: "Owner", since: "since",
    problem: "What is wrong?", machine: "Machine", none: "None", is_danger: "Someone could be hurt", send: "Send",
    saved_here: "Saved on this phone", saved: "Saved", all_sent: "All sent", needs_you: "needs you", send_now: "Send now", nothing_waiting: "Nothing waits here.",
    refused: "Not accepted", pen_called: "Called", pen_last_out: "Last cow out", pen_first_back: "First cow back", pen_last_back: "Last cow back",
    no_visits: "No cows are called in the next hours.", moisture: "Moisture test", moisture_pct: "Moisture, %", basis: "Basis", wet: "wet basis", dry: "dry basis", spots: "Spots",
    night: "Night", day: "Day", language: "Español", read_aloud: "Read aloud", all_ok: "All lines need an answer.", late: "Late", goes_to: "Where did it go?",
    number_needed: "Write a number, such as 1250.5.", words_needed: "Write a few words.", stalls: "stalls", empty: "Empty", no_machines: "No machine is on this phone yet.", sent_ok: "Sent", seen: "I have read it", closed: "Closed",
    no_answer: "No answer. Try again where there is signal.", insecure: "This page needs a secure address (https). Tell your manager.",
    if_asked: "New meter, or a number that looks wrong", noon: "noon", midnight: "midnight", language_changed: "Language",
  },
  es: {
    my_jobs: "Mis trabajos", machines: "Máquinas", locks: "Candados", tell_us: "Avisar", cows: "Vacas", sent: "¿Se envió?",
    pair_title: "Enlazar este teléfono", pair_how: "Pida un código a su encargado. Sirve 10 minutos.", pair_code: "Código", pair: "Enlazar",
    pair_again: "Hay que enlazar otra vez este teléfono.", no_jobs: "No hay trabajo para usted ahora. Pregunte a su encargado.",
    start: "Empezar", done: "Hecho", part: "Una parte", could_not: "No se pudo", back: "Atrás", save: "Guardar", undo: "Deshacer",
    how_many_left: "¿Cuántas faltan?", why_not: "¿Por qué no?", load: "+1 viaje", loads: "viajes",
    before: "Antes de", with: "Con", to_do: "Por hacer", under_way: "En marcha", part_done: "Hecho en parte", waiting_on: "En espera de",
    needs_lock: "Primero candado en la válvula, etiqueta y prueba. Anotarlo aquí no cierra ninguna válvula.",
    lock_missing: "Aquí no hay ningún candado suyo anotado.", lock_on_start: "Mi candado está puesto: empezar", start_unlocked: "Empezar sin mi candado: mi encargado lo revisa",
    hours: "Horómetro, horas", last: "Último", reason: "Motivo", new_meter: "Es un horómetro nuevo", read_meter: "Horas", look_round: "Antes de arrancar",
    good: "Bien", not_good: "Mal", can_work: "¿Puede trabajar hoy?", yes: "Sí", no: "No",
    run: "Puede trabajar", with_care: "Puede trabajar con cuidado", park: "Párela. Queda fuera del plan hasta que alguien la libere.",
    held: "Fuera de servicio", lock_on: "Mi candado está puesto", lock_off: "Mi candado está quitado", place: "Lugar", what: "Qué tiene candado",
    lock_note: "Primero aísle: candado, etiqueta, prueba. Este registro no cierra válvulas, bombas ni máquinas.", owner: "Dueño", since: "desde",
    problem: "¿Qué está mal?", machine: "Máquina", none: "Ninguna", is_danger: "Alguien se puede lastimar", send: "Enviar",
    saved_here: "Guardado en este teléfono", saved: "Guardado", all_sent: "Todo enviado", needs_you: "por atender", send_now: "Enviar ahora", nothing_waiting: "Aquí no espera nada.",
    refused: "No aceptado", pen_called: "Llamado", pen_last_out: "Salió la última vaca", pen_first_back: "Volvió la primera vaca", pen_last_back: "Volvió la última vaca",
    no_visits: "Ninguna vaca sale en las próximas horas.", moisture: "Prueba de humedad", moisture_pct: "Humedad, %", basis: "Base", wet: "base húmeda", dry: "base seca", spots: "Puntos",
    night: "Noche", day: "Día", language: "English", read_aloud: "Leer en voz alta", all_ok: "Falta contestar alguna línea.", late: "Tarde", goes_to: "¿A dónde fue?",
    number_needed: "Escriba un número, como 1250.5.", words_needed: "Escriba unas palabras.", stalls: "camas", empty: "Vacío", no_machines: "Este teléfono todavía no tiene máquinas.", sent_ok: "Enviado", seen: "Ya lo leí", closed: "Cerrados",
    no_answer: "No hay respuesta. Intente donde haya señal.", insecure: "Esta página necesita una dirección segura (https). Avise a su gerente.",
    if_asked: "Horómetro nuevo, o un número raro", noon: "mediodía", midnight: "medianoche", language_changed: "Idioma",
  },
};

let language = "es";
/** @param {string} next */
export function speak(next) {
  language = WORDS[next] ? next : "es";
  document.documentElement.lang = language;
}
export const speaking = () => language;
/** @param {string} key */
export const t = (key) => WORDS[language][key] ?? key;

/** The farm's clock: times are the farm's own, wherever the phone thinks it is. */
const farm = { time_zone: /** @type {string | undefined} */ (undefined), clock_h: 12 };
/** @param {{time_zone: string, clock_h: number} | undefined} told */
export function keepTime(told) {
  if (told) Object.assign(farm, { time_zone: told.time_zone, clock_h: told.clock_h });
}

/** @param {string} iso */
function partsOf(iso) {
  const as = new Intl.DateTimeFormat("en-GB", { timeZone: farm.time_zone, hourCycle: "h23", hour: "numeric", minute: "2-digit", day: "numeric", month: "numeric", year: "numeric" });
  return Object.fromEntries(as.formatToParts(new Date(iso)).map((p) => [p.type, p.value]));
}

/** A time of day: 5:10 am, or 05:10; never 12 am, which people read in two ways. @param {string} iso */
export function clock(iso) {
  const { hour, minute } = partsOf(iso);
  const h = Number(hour);
  if (farm.clock_h === 24) return `${String(h).padStart(2, "0")}:${minute}`;
  if (minute === "00" && h % 12 === 0) return t(h ? "noon" : "midnight");
  return `${h % 12 || 12}:${minute} ${h < 12 ? "am" : "pm"}`;
}

/** A time of day, with its day when that is not today. @param {string} iso */
export function moment(iso) {
  const dayOf = (/** @type {string} */ at) => { const { year, month, day } = partsOf(at); return `${year}-${month}-${day}`; };
  if (dayOf(iso) === dayOf(new Date().toISOString())) return clock(iso);
  const name = new Intl.DateTimeFormat(language, { timeZone: farm.time_zone, weekday: "short", day: "numeric", month: "short" }).formatToParts(new Date(iso));
  const part = (/** @type {string} */ type) => name.find((p) => p.type === type)?.value.replace(".", "");
  return `${part("weekday")} ${part("day")} ${part("month")} ${clock(iso)}`;
}

/** From when to when. @param {string} from @param {string} to */
export const span = (from, to) => `${moment(from)} – ${clock(to)}`;
