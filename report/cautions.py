"""What can hurt while building: a few sentences, no substitute for instructions and law."""

CAUTIONS = (
    "Blades: a sharp one slips less than a blunt one; cut along a steel rule, with your fingers out of its way.",
    "Glues, dope and solvents: open a window, keep flames away and read the label; superglue bonds skin at once; "
    "breathe neither its fumes nor sanding dust.",
    "Lead for balance: wash your hands before you eat, seal it in, and keep it from children.",
    "Lithium cells: use a charger made for them, on a surface that cannot burn, while you watch; never use a swollen "
    "or dented one.",
    "Flying: check the balance and every control first and keep well away from people, roads and airfields; the rules "
    "of the country you fly in come before anything written here.",
)
