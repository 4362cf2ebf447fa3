"""What can hurt while building: a few sentences, no substitute for instructions and law."""

CAUTIONS = (
    "Blades: cut away from the hand that holds, with a sharp blade and a steel rule; the last fifth of a cut slips.",
    "Glues, dope and solvents: open a window, keep flames away, and read the label; superglue bonds skin at once, "
    "and its fumes and sanding dust belong in no lung.",
    "Lead for balance: wear gloves or wash your hands before you eat, seal it under glue, and keep it from children.",
    "Lithium cells: charge them with the right charger, on a surface that cannot burn, while you are there; "
    "never use a swollen or dented one.",
    "Flying: check the balance and every control first, keep well away from people, roads and airfields, and keep to "
    "the rules and registration of the country you fly in; they come before anything written here.",
)
