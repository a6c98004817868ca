// @ts-check
// Words of the screens that only leads and the shop see, in both languages; loaded with those screens.

import { WORDS } from "./words.js";

Object.assign(WORDS.en, {
  reset_pin: "Reset PIN", pin_was_reset: "{name} chooses a new PIN next time.", read_it: "Read it", parked: "{name} is parked", was_serviced: "Service done", minutes: "Minutes", parts: "Parts",
  last_done: "Last done {when}", never_done: "No record yet", no_service: "No service is due. Read some hours.", due_at_h: "Due at {h}", due_on: "Due {when}", cause_leak: "Leaks oil or fuel",
  cause_brake: "Brakes", cause_tire: "Tire or wheel", cause_part: "Waits for a part", cause_lamp: "Lights or horn", no_crew: "Your crew is not on this phone yet. Send now.", no_job_now: "No job now",
  stuck: "Stuck", given: "Given to {name}", give_to: "Give it to", nobody_else: "Nobody else is on this crew.", is_free: "Free now", busy_until: "Busy until {when}",
  needs_look: ["1 needs a look", "{n} need a look"], n_problems: ["1 problem", "{n} problems"], no_looks: "Nothing needs a look. Go and see your crew.", said_by: "{name}, {when}",
  no_problems: "No problem is open. Ask at the walk-round.", answer: "Answer", answer_today: "We fix it today", answer_plan: "It is planned", answer_ask: "I come and look", answered: "Answered",
  answer_own: "Own words", no_walk: "No walk-round is set up. Ask your manager.", part_of: "{n} of {of}", next: "Next", walk_done: "Walk-round done", walk_ok: "All was OK.",
  walk_bad: ["1 thing was not OK.", "{n} things were not OK."], start_again: "Once more", take_from: "From {name}, {when}", taken_by: "Taken by {name}, {when}", box_left: "Left", box_broken: "Broken",
  box_watch: "To watch", box_first: "First next", box_safety: "Safety: open until closed", nothing: "Nothing", make_handover: "Hand over", no_handover: "No handover yet. Write yours at the end.",
  level_care: "Stay outside the fence. You can drown. Gas can kill before you smell it.", no_basins: "No basin is on this phone yet. Ask your lead.", depth_in: "Depth at the marker, {unit}", line_at: "Act at {line}.",
  over_line: "At the line of {line}: tell your lead.", too_deep: "The rim is at {rim}. Change the number.", are_you_sure: "Are you sure?",
  handed_over: "Handed over", one_a_line: "One thing a line", still_open: "Still open", is_closed: "Closed",
});

Object.assign(WORDS.es, {
  reset_pin: "Borrar PIN", pin_was_reset: "{name} elige otro PIN la próxima vez.", read_it: "Leerla", parked: "{name} está parada", was_serviced: "Servicio hecho", minutes: "Minutos", parts: "Piezas",
  last_done: "Último servicio {when}", never_done: "Todavía sin registro", no_service: "No toca ningún servicio. Lea las horas.", due_at_h: "Toca a las {h}", due_on: "Toca {when}",
  cause_leak: "Tira aceite o diésel", cause_brake: "Frenos", cause_tire: "Llanta o rueda", cause_part: "Espera una pieza", cause_lamp: "Luces o claxon",
  no_crew: "Todavía no hay gente de su cuadrilla aquí. Envíe ahora.", no_job_now: "Sin trabajo ahora", stuck: "Atorado", given: "Lo tiene {name}", give_to: "¿A quién?",
  nobody_else: "No hay nadie más en esta cuadrilla.", is_free: "Libre ahora", busy_until: "Ocupado hasta {when}", needs_look: ["1 por revisar", "{n} de avisos por revisar", "{n} por revisar"],
  n_problems: ["1 problema", "{n} de problemas", "{n} problemas"], no_looks: "Nada por revisar. Vaya a ver a su cuadrilla.", said_by: "{name}, {when}",
  no_problems: "No hay problemas abiertos. Pregunte en el recorrido.", answer: "Contestar", answer_today: "Se arregla hoy", answer_plan: "Ya está en el plan", answer_ask: "Voy a verlo",
  answered: "Contestado", answer_own: "En sus palabras", no_walk: "No hay recorrido. Pregunte a su gerente.", part_of: "{n} de {of}", next: "Siguiente", walk_done: "Recorrido terminado",
  walk_ok: "Todo estuvo bien.", walk_bad: ["1 cosa estuvo mal.", "{n} de cosas estuvieron mal.", "{n} cosas estuvieron mal."], start_again: "Otra vez", take_from: "De {name}, {when}",
  taken_by: "Recibió {name}, {when}", box_left: "Falta", box_broken: "Roto", box_watch: "Cuidar", box_first: "Primero", box_safety: "Seguridad: abierto hasta cerrarlo", nothing: "Nada",
  make_handover: "Entregar", no_handover: "Todavía no hay entrega. Escriba la suya al final.", handed_over: "Entregado", one_a_line: "Una cosa por línea", still_open: "Sigue abierto",
  level_care: "Quédese fuera de la cerca. Puede ahogarse. El gas puede matar antes de olerlo.", no_basins: "Todavía no hay pilas de sólidos aquí. Pregunte.", depth_in: "Profundidad en la marca, {unit}", line_at: "Actuar a {line}.",
  over_line: "En la línea de {line}: avise a su encargado.", too_deep: "El borde está a {rim}. Cambie el número.", are_you_sure: "¿Seguro?",
  is_closed: "Cerrado",
});
