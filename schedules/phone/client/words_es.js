// @ts-check
// The phone's words in Spanish. words_en.js has the same keys; a test holds that.
// A list holds the forms of a plural: one, millions ("de ..."), all others.

/** @type {Record<string, string | string[]>} */
export const ES = {
  // places to go
  my_jobs: "Mis trabajos", tell_us: "Avisar", cows: "Vacas", machines: "Máquinas", locks: "Candados", more: "Más", me: "Yo",
  sent: "¿Se envió?", crew_now: "Mi cuadrilla ahora", crew: "Cuadrilla", walk: "Recorrido", handover: "Entrega", look: "Por revisar",
  problems: "Problemas", service: "Servicio", back: "Atrás",

  // this phone
  pair_title: "Enlazar este teléfono", pair_how: "Pida un código a su encargado. Sirve 10 minutos.", pair_code: "Código", pair: "Enlazar",
  fetching: "Trayendo su trabajo…", pair_again: "Hay que enlazar otra vez este teléfono.", pair_kept: ["Aquí se guarda 1 aviso. Sale al enlazar.", "Aquí se guardan {n} de avisos. Salen al enlazar.", "Aquí se guardan {n} avisos. Salen al enlazar."],
  no_answer: "No hay respuesta. Intente donde haya señal.", insecure: "Esta página necesita una dirección segura (https). Avise a su gerente.", keeps_nothing: "Aquí no se puede guardar nada (¿ventana privada?). Abra una ventana normal.",
  who_are_you: "¿Quién es usted?", nobody_here: "Todavía no hay nombres aquí. Envíe donde haya señal.", your_pin: "Su PIN",
  pin_wrong: "Ese PIN no es.", pin_wait: ["Espere 1 segundo e intente otra vez.", "Espere {n} de segundos e intente otra vez.", "Espere {n} segundos e intente otra vez."],
  no_pin: "Todavía no tiene PIN. Elija 4 números.", pin_again: "Los mismos 4 números otra vez", pin_differs: "No eran iguales. Otra vez.",
  pin_kept: "Su PIN quedó guardado.", set_pin: "Mi PIN", new_pin: "Elija 4 números", forgot_pin: "¿Lo olvidó? Su encargado lo puede borrar.", not_me: "No soy {name}",
  somebody_else: "Otra persona", shared_phone: "Teléfono de {crew}", signed_in: "Aquí ahora: {name}",
  people: "Gente y PIN",
  delete: "Borrar", digits_in: ["1 número puesto", "{n} de números puestos", "{n} números puestos"],

  // whether it went through
  saved_here: "Guardado en este teléfono", saved: "Guardado", sending: "Enviando…", all_sent: "Todo enviado", needs_you: ["1 por atender", "{n} de avisos por atender", "{n} por atender"],
  send_now: "Enviar ahora", nothing_said: "Todavía nada. Aquí aparece cuando toque Empezar.", refused: "No aceptado", other_farm: "No se envió: este teléfono se enlazó con otra granja. Avise a su encargado.", seen: "Ya lo leí",
  sent_ok: "Enviado", photos_waiting: ["1 foto o nota de voz espera", "{n} de fotos o notas de voz esperan", "{n} fotos o notas de voz esperan"], tell_again: "Corregirlo", taken_back: "Deshecho", too_late: "Ya se envió: queda así.",
  goes_alone: "Sale solo donde haya señal.", undo: "Deshacer",
  as_of: "Visto {when}", old_news: "Última noticia {when}", never_heard: "Todavía sin noticia del rancho", new_version: "Hay una versión nueva", take_it: "Ponerla ahora",

  // jobs
  no_jobs: "No hay trabajo para usted ahora. Pregunte a su encargado.", after_that: "Después", closed: "Cerrados", start: "Empezar", done: "Hecho", part: "Una parte", could_not: "No se pudo",
  to_do: "Por hacer", under_way: "En marcha", part_done: "Hecho en parte", waiting_on: "En espera de {what}", late: "Tarde", before: "Antes de {when}", with: "Con {what}",
  stalls: ["1 cama", "{n} de camas", "{n} camas"], loads: ["viaje", "de viajes", "viajes"], load: "+1 viaje", n_loads: ["1 viaje", "{n} de viajes", "{n} viajes"], how: "Cómo", read_aloud: "Leer en voz alta",
  how_many_left: "¿Cuántas faltan?", left_over: ["Falta 1", "Faltan {n} de camas", "Faltan {n}"], why_not: "¿Por qué no?", why_more: "En sus palabras",
  why_broken: "Máquina rota", why_cows: "Vacas estorban", why_sand: "No hay arena", why_time: "No hubo tiempo", why_unsafe: "Es peligroso", why_ice: "Hielo",
  goes_to: "¿A dónde fue?", moisture: "Prueba de humedad", moisture_pct: "Humedad, %", basis: "Base", wet: "Base húmeda", dry: "Base seca", spots: "Puntos",
  job_gone: "Este trabajo ya no está aquí.", last_picture: "La última foto de aquí",

  // safety
  caution: "PRECAUCIÓN", warning: "ADVERTENCIA", danger: "PELIGRO",
  needs_lock: "Primero candado en la válvula, etiqueta y prueba. Anotarlo aquí no cierra ninguna válvula.",
  lock_missing: "Aquí no hay ningún candado suyo anotado.", lock_on_start: "Mi candado está puesto: empezar", start_unlocked: "Empezar sin mi candado: mi encargado lo revisa",
  lock_on: "Mi candado está puesto", lock_off: "Mi candado está quitado", lock_note: "Primero aísle: candado, etiqueta, prueba. Este registro no cierra válvulas, bombas ni máquinas.",
  what: "Qué tiene candado", owner: "Dueño: {name}", since: "Desde {when}", no_locks: "No hay candados anotados. Ponga el suyo antes de entrar.", put_lock: "Poner mi candado", place_now: "¿Qué lugar?",
  your_rules: "Primero las reglas del rancho y su encargado. Este teléfono no ve los peligros.",
  caution_lone: "¿Está solo? Diga a su encargado dónde está.", caution_flush: "El agua del lavado llega sin aviso: candado, etiqueta, prueba.", caution_machine: "Llave fuera, brazos abajo, después la mano.",
  cautions: "Cuídese",

  // machines
  read_meter: "Horas", look_round: "Antes de arrancar", held: "Fuera de servicio", no_machines: "Este teléfono todavía no tiene máquinas. Pregunte a su encargado.", meter: "Horómetro",
  last: "Último: {what}", no_reading: "Todavía sin lectura", less: "Menos", save: "Guardar", number_needed: "Escriba un número, como 1250.5.",
  words_few: "Escriba unas palabras.", send_first: "Primero envíe todo, después póngala.", not_saved: "No se guardó: el teléfono está lleno. Avise a su encargado.",
  lock_short: "Primero la válvula: candado, etiqueta, prueba.", must_hold: "Esto debe estar bien, o párela", also_look: "También mire", no_photo: "Esa foto no se guardó. Tómela otra vez.",
  which_number: "¿Cuál quiere decir?", lower: "Es menos que la última vez.", too_many: "Son más de 24 horas por día.", fix_number: "Cambiar el número",
  new_meter: "Es un horómetro nuevo", meter_right: "El número está bien", due_now: "Ya toca: {what}", due_in: "{what}: faltan {left}", due_by: "{what}: para {when}", nothing_due: "Nada toca pronto.",
  good: "Bien", not_good: "Mal", can_work: "¿Puede trabajar hoy?", yes: "Sí", no: "No", all_lines: ["Falta contestar 1 línea.", "Falta contestar {n} de líneas.", "Falta contestar {n} líneas."],
  no_lines: "No hay lista para esta máquina. Revísela como diga su encargado.", run: "Puede trabajar", with_care: "Trabaje con cuidado", park: "Párela",
  park_why: "Fuera del plan hasta que alguien la libere.", care_why: "Su encargado recibe lo que está mal.", run_why: "Todo está bien.",
  park_it: "Pararla", why_park: "¿Por qué pararla?",
  service_sheet: "Hoja de servicio",

  // tell us
  problem: "¿Qué está mal?", where: "Dónde", place: "Lugar", machine: "Máquina", none: "Ninguna", is_danger: "Alguien se puede lastimar", send: "Enviar", photo: "Foto", n_photos: ["1 foto", "{n} de fotos", "{n} fotos"],
  voice: "Nota de voz", stop: "Parar", recording: "Grabando {s}", voice_ready: "Nota de voz {s}", no_mic: "Este teléfono no puede usar su micrófono.", no_voice: "Este teléfono no graba. Escriba o tome una foto.",
  words_needed: "Tome una foto o toque qué está mal.", in_words: "En sus palabras", see_photo: "Vea la foto", hear_note: "Oiga la nota de voz", told: "Avisado: gracias", on_job: "Foto de este trabajo",
  p_broken: "Roto", p_leak: "Fuga", p_blocked: "Tapado", p_slippery: "Resbala", p_animal: "Vaca herida", p_other: "Otra cosa",

  // cows
  no_visits: "Ninguna vaca sale en las próximas horas.", pen_called: "Llamado", pen_last_out: "Salió la última vaca", pen_first_back: "Volvió la primera vaca", pen_last_back: "Volvió la última vaca", empty: "Vacío {when}",

  // leads
  give: "Dar a otra persona",

  taken: "Recibido",
  write_handover: "Escribir la entrega",

  // me
  hours_today: "Mis horas hoy, según el plan", hours_none: "Aquí no hay trabajos de hoy.", n_jobs: ["1 trabajo", "{n} de trabajos", "{n} trabajos"], night: "Noche", day: "Día", light: "Luz", language: "English", language_word: "Idioma", phone_is: "Este teléfono",
  nudges: "Avisos", nudge_phone: "Avisar a este teléfono", nudge_what: "Un aviso corto cuando hay algo nuevo. No dice detalles. Todo aparece aquí de todos modos.", nudge_note: "Hay algo nuevo en su trabajo",
  nudge_denied: "Este teléfono no permite avisos. Cámbielo en sus ajustes.", nudge_iphone: "En un iPhone, ponga esta página en inicio, y ábrala desde ahí.", nudge_cannot: "Este navegador no recibe avisos. Todo aparece aquí.",
  nudge_off: "Su rancho no manda avisos. Pregunte a su gerente.",
  ends_at: "El último termina {when}", noon: "mediodía", midnight: "medianoche", h: "h", min: "min",

  // what was said, where the button's word would not do
  k_reading: "Horas", k_check: "Antes de arrancar", k_language: "Idioma", k_photo: "Foto", k_hold: "Pararla", k_service: "Servicio hecho", k_hand_over: "Entregar", k_take_handover: "Entrega recibida", k_walk: "Recorrido", k_settle: "Decidido",
  k_answer_problem: "Contestado", k_give: "Dado", k_set_pin: "Mi PIN", k_reset_pin: "Borrar PIN", k_undo: "Deshacer", k_level: "Nivel",
};
