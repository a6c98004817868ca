"""What an invented farm sends to its phones: documents of every kind, in both languages."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

NOW = datetime(2026, 3, 4, 16, 0, tzinfo=UTC)  # 9:00 am in Denver
ANA, BETO, CARO, DINO, ELSA, FITO = 11, 12, 13, 14, 15, 16
CREW = 3
Doc = dict[str, Any]
Body = dict[str, Any]


def at(minutes: float) -> str:
    """Give the moment so many minutes from now."""
    return (NOW + timedelta(minutes=minutes)).isoformat().replace("+00:00", "Z")


def both(en: str, es: str) -> dict[str, str]:
    return {"en": en, "es": es}


def doc(kind: str, key: object, scope: str = "site", /, **body: Any) -> Doc:
    return {"scope": scope, "kind": kind, "key": str(key), "body": body}


def job(key: int, minutes: float = 5, *, worker: int = ANA, **more: Any) -> Doc:
    body: Body = {
        "title": both("Groom beds", "Rastrillar camas"),
        "place": both(f"Beds {key} north", f"Camas {key} norte"),
        "place_id": 100 + key,
        "n_stalls": 96,
        "amount": "stalls:96",
        "starts_after": at(minutes - 5),
        "due_at": at(minutes + 16),
        "planned_start": at(minutes),
        "planned_end": at(minutes + 12),
        "status": "NEEDS-ACTION",
        "outcome": "",
        "is_begun": more.get("status", "NEEDS-ACTION") != "NEEDS-ACTION",
        "n_left": None,
        "loads": 0,
        "counts_loads": False,
        "goes_to": "",
        "batch": None,
        "how": both(
            "Level the sand to the curb. Take out wet spots and manure first. Leave no holes.",
            "Empareje la arena hasta el bordillo. Primero saque lo mojado. Sin hoyos.",
        ),
        "caution": both("Cows may still walk here.", "Todavía pueden pasar vacas."),
        "needs_lock": False,
        "worker_ids": [worker],
        "locked_for": [],
        "machine": {"id": 1, "name": "Loader 2"},
        "waiting_on": [],
        "picture": "",
        "version": 4,
    }
    return doc("job", key, f"crew-{CREW}", **{**body, **more})


def jobs() -> list[Doc]:
    sand: Body = {"title": both("Bed pen", "Llenar camas"), "place": both("Pen 3", "Corral 3")}
    lane: Body = {
        "title": both("Scoop sand lane", "Limpiar carril de arena"),
        "place": both("Sand lane 1", "Carril de arena 1"),
    }
    return [
        job(1),
        job(2, 40, needs_lock=True),
        job(3, 70, **sand, counts_loads=True, loads=2, batch=7, goes_to="bay", n_stalls=None),
        job(4, -60, status="COMPLETED", outcome="part", n_left=12),
        job(5, -90, status="CANCELLED", outcome="could_not"),
        job(
            6,
            10,
            worker=BETO,
            waiting_on=[{"code": "machine_hold", "name": both("Loader 1", "Loader 1")}],
        ),
        job(7, -40, worker=CARO, status="IN-PROCESS", due_at=at(-5)),
        job(
            8,
            -3,
            worker=ELSA,
            **lane,
            status="IN-PROCESS",
            counts_loads=True,
            loads=9,
            n_stalls=None,
        ),
    ]


def people() -> Iterable[Doc]:
    roles = {
        ANA: "worker",
        BETO: "worker",
        CARO: "worker",
        DINO: "lead",
        ELSA: "worker",
        FITO: "mechanic",
    }
    names = {
        ANA: "Ana Ruelas",
        BETO: "Beto Quintal",
        CARO: "Carolina Entrepinos",
        DINO: "Dino Vale",
        ELSA: "Elsa Monte",
        FITO: "Fito Arroyo",
    }
    for key, name in names.items():
        yield doc("worker", key, name=name, crew=CREW, role=roles[key], language="en")
    yield doc("crew", CREW, name="Mornings", lead_ids=[DINO])


def places() -> Iterable[Doc]:
    for key in range(1, 9):
        yield doc(
            "place",
            20 + key,
            kind="pen",
            name=both(f"Pen {key}", f"Corral {key}"),
            place_order=key,
            lockable=True,
            takes_sand=True,
        )
    for key in range(1, 4):
        yield doc(
            "place",
            40 + key,
            kind="bay",
            name=both(f"Bay {key}", f"Bahía {key}"),
            place_order=40 + key,
            lockable=False,
            takes_sand=True,
        )
    yield doc(
        "place",
        50,
        kind="lane",
        name=both("Sand lane 1", "Carril de arena 1"),
        place_order=50,
        lockable=True,
        takes_sand=False,
    )
    yield doc(
        "lock",
        1,
        place_id=21,
        place=both("Pen 1", "Corral 1"),
        owner="Ana Ruelas",
        owner_worker=ANA,
        on_at=at(-30),
    )
    yield doc(
        "lock",
        2,
        place_id=50,
        place=both("Sand lane 1", "Carril de arena 1"),
        owner="Fito Arroyo",
        owner_worker=FITO,
        on_at=at(-1500),
    )
    for key in (1, 2):
        yield doc(
            "visit",
            key,
            pen=20 + key,
            name=both(f"Pen {key}", f"Corral {key}"),
            called_at=at(5),
            last_out_at=at(15),
            first_back_at=at(31),
            last_back_at=at(70),
            said=["called"] if key == 1 else [],
        )


SPOTS = {
    "outside": both("Round it", "Alrededor"),
    "cab": both("In the cab", "En la cabina"),
    "moving": both("Moving off", "Al arrancar"),
}
LINES = [
    ("outside", "Tires whole, wheel nuts tight", "Llantas buenas, tuercas apretadas", False),
    (
        "outside",
        "No oil, fuel or water on the ground",
        "Sin aceite, diésel ni agua en el piso",
        False,
    ),
    ("cab", "Service and parking brakes hold", "Frenos de servicio y de mano sostienen", True),
    ("cab", "Seat belt, cab frame and door whole", "Cinturón, cabina y puerta completos", True),
    ("moving", "Horn and backup alarm sound", "Claxon y alarma de reversa suenan", True),
]


def machines() -> Iterable[Doc]:
    yield doc(
        "machine",
        1,
        name="Loader 2",
        kind="loader",
        is_held=False,
        hold_cause="",
        meter_h=4812.5,
        read_at=at(-1440),
    )
    yield doc(
        "machine",
        2,
        name="Loader 1",
        kind="loader",
        is_held=True,
        hold_cause="Brake pedal soft",
        meter_h=9120,
        read_at=at(-3000),
    )
    yield doc(
        "machine",
        3,
        name="Rake tractor",
        kind="tractor",
        is_held=False,
        hold_cause="",
        meter_h=None,
        read_at=None,
    )
    for key, (group, en, es, is_safety) in enumerate(LINES, 1):
        yield doc(
            "check_line",
            key,
            machine_kind="loader",
            text=both(en, es),
            is_safety=is_safety,
            spot=SPOTS[group],
            order=key,
        )
    grease = both(
        "Grease all points, drain fuel water", "Engrasar todo, drenar agua del combustible"
    )
    oil = both("Engine oil and filter, oil sample", "Aceite y filtro de motor, muestra de aceite")
    caution = both(
        "Block raised arms before you reach under them.",
        "Bloquee los brazos levantados antes de meterse debajo.",
    )
    yield doc(
        "service",
        "1-5",
        "shop",
        machine=1,
        item=5,
        text=grease,
        caution=caution,
        due_h=4810.0,
        due_on=None,
        last_done_h=4760.0,
        last_done_at=at(-9000),
        minutes=45,
        parts="grease cartridges, fuel filter",
    )
    yield doc(
        "service",
        "2-6",
        "shop",
        machine=2,
        item=6,
        text=oil,
        caution=caution,
        due_h=9150.0,
        due_on="2026-03-12",
        last_done_h=None,
        last_done_at=None,
        minutes=90,
        parts="",
    )


def lead_documents() -> Iterable[Doc]:
    answers = [
        {"code": "count", "words": both("What was reported counts", "Vale lo que se avisó")},
        {"code": "leave", "words": both("Leave it as it is", "Dejarlo como está")},
    ]
    yield doc(
        "look",
        "work-9",
        "leads",
        who="Elsa Monte",
        kind="late_report",
        at=at(-20),
        line=both(
            "Groom beds, Beds 9 north. Told after it was closed.",
            "Rastrillar camas, Camas 9 norte. Avisado después de cerrarlo.",
        ),
        answers=answers,
    )
    yield doc(
        "look",
        "0198-a",
        "leads",
        who="Ana Ruelas",
        kind="reading",
        at=at(-50),
        line=both(
            "Hour meter was not taken: it stood at 9,120 h before.",
            "Horómetro no se aceptó: antes marcaba 9,120 h.",
        ),
        answers=answers,
    )
    yield doc(
        "problem",
        4,
        "leads",
        problem=4,
        defect=None,
        text="Broken: curb of stall 14",
        place_id=23,
        place=both("Pen 3", "Corral 3"),
        machine=None,
        reported_by="Beto Quintal",
        reported_at=at(-600),
        is_safety=False,
        attachments=[],
    )
    yield doc(
        "problem",
        "defect-5",
        "leads",
        problem=None,
        defect=5,
        text="Horn is weak",
        place_id=None,
        place=both("", ""),
        machine={"id": 1, "name": "Loader 2"},
        reported_by="Ana Ruelas",
        reported_at=at(-60),
        is_safety=True,
        attachments=[],
    )
    yield handover()
    for key, place in enumerate((21, 21, 22, 50), 1):
        name = (
            both("Sand lane 1", "Carril de arena 1")
            if place == 50
            else both(f"Pen {place - 20}", f"Corral {place - 20}")
        )
        yield doc(
            "walk_line",
            key,
            place_id=place,
            place=name,
            text=both(
                "Beds level to the curb, no wet spots", "Camas parejas al bordillo, nada mojado"
            ),
            order=key,
        )


def basins() -> Iterable[Doc]:
    for key, (level_m, minutes) in enumerate([(1.83, -1440), (None, None)], 1):
        name = both(f"Basin {key}", f"Pila de sólidos {key}")
        read_at = None if minutes is None else at(minutes)
        depths = {"depth_m": 3.048, "must_act_depth_m": 2.4384}  # 10 and 8 ft
        yield doc("basin", 60 + key, name=name, **depths, level_m=level_m, read_at=read_at)


def handover(**more: Any) -> Doc:
    body: Body = {
        "id": 9,
        "made_at": at(-180),
        "by": "Olga Prado",
        "left": ["Beds 4 south: 12 stalls left"],
        "broken": ["Loader 1: brake pedal soft"],
        "watch": ["Pen 6 returns early"],
        "first": ["Groom beds 1 north before the cows are back"],
        "safety": [
            {"id": 31, "text": "Grate by lane 1 is loose", "by": "Olga Prado", "at": at(-900)}
        ],
        "taken_at": None,
        "taken_by": None,
    }
    return doc("handover", CREW, f"crew-{CREW}", **{**body, **more})


NOUNS = {"en": {"pen": "Pen", "bed_group": "Beds"}, "es": {"pen": "Corral", "bed_group": "Camas"}}


def farm(clock_h: int = 12) -> Doc:
    return doc(
        "farm",
        "farm",
        name="Three Cairns",
        time_zone="America/Denver",
        clock_h=clock_h,
        units="us",
        nouns=NOUNS,
    )


def everything() -> list[Doc]:
    return [farm(), *people(), *jobs(), *places(), *machines(), *basins(), *lead_documents()]
