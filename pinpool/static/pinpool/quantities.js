/* Quantities from people, by the strict grammar of pinpool/quantities.py; fixtures/vectors/quantities.json holds for both.

   quantity  = [sign] number [spaces] unit
             | number [spaces] unit [spaces] number [spaces] unit …   (times only, units falling)
   number    = 61 | 0.24 | .5 | 1/60 | 5 3/8 | ½ | 1½ | 1 ½

   Values here are rounded a few times on their way, so they are good to 1e-15, not to the last bit. */

const MAX_LENGTH = 64;

/** A quantity refused: `code` is stable and for programs, the message is a sentence for the person. */
export class QuantityError extends Error {
  constructor(code, detail) {
    super(detail);
    this.code = code;
  }
}

/* What a field holds: the unit it is kept in, the least it can be, and how each unit that may be written leads to that
   one: a factor, or a function where a factor will not do. */
const KINDS = {
  length: { canonical: "mm", units: { mm: 1, cm: 10, m: 1000, "µm": 1e-3, nm: 1e-6, in: 25.4, ft: 304.8 } },
  angle: { canonical: "deg", units: { deg: 1, rad: 180 / Math.PI } },
  wavelength: { canonical: "nm", minimum: 0, units: { nm: 1, "µm": 1000, mm: 1e6 } },
  time: { canonical: "s", minimum: 0, units: { d: 86400, h: 3600, min: 60, s: 1, ms: 1e-3 } },
  illuminance: { canonical: "lx", minimum: 0, units: { lx: 1, klx: 1000 } },
  luminance: { canonical: "cd/m^2", minimum: 0, units: { "cd/m^2": 1 } },
  resolution: { canonical: "dpi", minimum: 0, units: { dpi: 1, "µm/px": (value) => 25400 / value } },
  temperature: {
    canonical: "degC",
    minimum: -273.15,
    units: { degC: 1, degF: (value) => (value - 32) / 1.8, K: (value) => value - 273.15 },
  },
  volume: {
    canonical: "ml",
    minimum: 0,
    units: { ml: 1, l: 1000, "US fl oz": 29.5735295625, "imp fl oz": 28.4130625 },
  },
  spatial_frequency: { canonical: "cycles/mm", minimum: 0, units: { "cycles/mm": 1 } },
};

/* Other spellings of each unit (case matters), and English words for it (any case). */
const SPELLINGS = {
  "µm": ["μm", "um"], in: ['"', "″"], deg: ["°"], "cd/m^2": ["cd/m²", "cd/m2"], dpi: ["ppi", "DPI", "PPI"],
  "µm/px": ["μm/px", "um/px"], degC: ["°C", "℃"], degF: ["°F", "℉"], ml: ["mL"], l: ["L"],
};
const WORDS = {
  nm: "nanometre nanometres nanometer nanometers",
  "µm": "micrometre micrometres micrometer micrometers micron microns",
  mm: "millimetre millimetres millimeter millimeters",
  cm: "centimetre centimetres centimeter centimeters",
  m: "metre metres meter meters",
  in: "inch inches",
  ft: "foot feet",
  ms: "millisecond milliseconds",
  s: "sec secs second seconds",
  min: "mins minute minutes",
  h: "hr hrs hour hours",
  d: "day days",
  deg: "degree degrees",
  rad: "radian radians",
  lx: "lux",
  klx: "kilolux",
  K: "kelvin",
  ml: "millilitre millilitres milliliter milliliters",
  l: "litre litres liter liters",
};
const BY_SPELLING = new Map();
for (const kind of Object.values(KINDS)) {
  for (const symbol of Object.keys(kind.units)) {
    for (const spelling of [symbol, ...(SPELLINGS[symbol] ?? [])]) BY_SPELLING.set(spelling, symbol);
  }
}
const BY_WORD = new Map();
for (const [symbol, words] of Object.entries(WORDS)) {
  for (const word of words.split(" ")) BY_WORD.set(word, symbol);
}

const SPACES = " \u00a0\u202f";
const VULGAR = {
  "¼": [1, 4], "½": [1, 2], "¾": [3, 4], "⅐": [1, 7], "⅑": [1, 9], "⅒": [1, 10], "⅓": [1, 3], "⅔": [2, 3],
  "⅕": [1, 5], "⅖": [2, 5], "⅗": [3, 5], "⅘": [4, 5], "⅙": [1, 6], "⅚": [5, 6], "⅛": [1, 8], "⅜": [3, 8],
  "⅝": [5, 8], "⅞": [7, 8], "↉": [0, 3],
};
const VULGARS = Object.keys(VULGAR).join("");

/* One number and the unit after it, up to the next number or the end. cd/m2 alone has a digit in its name. */
const PART = new RegExp(
  `(?:(?:(?<whole>[0-9]+)[${SPACES}]+)?(?<above>[0-9]+)/(?<below>[0-9]+)` +
    `|(?<count>[0-9]*)[${SPACES}]*(?<vulgar>[${VULGARS}])` +
    `|(?<decimal>[0-9]+(?:\\.[0-9]+)?|\\.[0-9]+))` +
    `[${SPACES}]*(?<unit>cd/m\\^?2|[^0-9${VULGARS}]*?)` +
    `(?=[${SPACES}]*(?:\\.?[0-9]|[${VULGARS}])|$)[${SPACES}]*`,
  "y",
);

/* What people and programs write that is no quantity, looked for in this order before the grammar. */
const REFUSED = [
  [/^[+\-−]?nan(?![a-z])/i, "not_a_number", "NaN is not a quantity: write a number and a unit."],
  [/^[+\-−]?(?:inf(?:inity)?(?![a-z])|∞)/i, "not_finite", "Infinity is not a quantity."],
  [
    new RegExp(`(?<![0-9.])[1-9][0-9]{0,2}(?:[,'’_${SPACES}][0-9]{3})+(?![0-9/])|[0-9],[0-9]+,[0-9]`),
    "thousands_separator",
    "Write the number without separators between thousands: 1000.",
  ],
  [/[0-9],[0-9]|^[+\-−]?,[0-9]/, "decimal_comma", "Write decimals with a point: 1.5."],
  [
    new RegExp(
      "[*×÷()\\[\\]{}=]|(?<!m)\\^|.\\+" + // 2*3, (5), 5^2, 5+3
        `|.[-−][${SPACES}]*[0-9.${VULGARS}]|[0-9${VULGARS}][${SPACES}]*[-−]`, // 5-3, 5 mm - 3 mm
      "i",
    ),
    "expression",
    "Write one number, not a sum, a product or a range.",
  ],
];
const SCIENTIFIC = /^[+\-−]?([0-9]*\.?[0-9]+[eE][+-]?[0-9]+)/;
/* ASCII, letters, what the grammar uses, and what a refusal above names better. */
const USUAL = new RegExp(`^(?:[ -~${SPACES}${VULGARS}−°℃℉²³″’×÷∞]|(?![\uff00-\uffef])\\p{L})$`, "u");

/** Read `"61 mm"` or `{value: 61, unit: "mm"}` to `{value, kind, typed}`, the value in the canonical unit of `kind`.

    The bounds are in that unit. Throws QuantityError for anything whatever that is not such a quantity. */
export function readQuantity(data, kind, { minimum, maximum, exclusiveMinimum = false } = {}) {
  let value, typed;
  if (typeof data === "string") {
    [value, typed] = [readText(data, kind), data];
  } else if (typeof data === "number" || typeof data === "boolean") {
    checkFinite(data);
    refuse("unit_missing", `A bare number has no unit. ${unitsThatDo(kind)}`);
  } else if (data !== null && typeof data === "object" && !Array.isArray(data)) {
    [value, typed] = readObject(data, kind);
  } else {
    refuse("wrong_type", 'Write a text such as "61 mm", or an object with "value" and "unit".');
  }
  if (!Number.isFinite(value)) refuse("not_finite", "This is larger than any number that can be kept.");
  checkRange(value, kind, minimum, maximum, exclusiveMinimum);
  return { value, kind, typed };
}

/** A number written out without an exponent: 0.0000001, not 1e-7. */
export function plainDigits(number) {
  const [digits, exponent] = String(number).split("e");
  if (exponent === undefined) return digits;
  const [, sign, whole, part = ""] = /^(-?)(\d+)\.?(\d*)$/.exec(digits);
  const point = whole.length + Number(exponent);
  const all = whole + part;
  if (point <= 0) return `${sign}0.${"0".repeat(-point)}${all}`;
  return sign + all.padEnd(point, "0").slice(0, point) + (all.length > point ? `.${all.slice(point)}` : "");
}

function readText(written, kind) {
  if ([...written].length > MAX_LENGTH) refuse("too_long", `A quantity has at most ${MAX_LENGTH} characters.`);
  const text = written.replace(new RegExp(`^[${SPACES}]+|[${SPACES}]+$`, "g"), "");
  if (!text) refuse("empty", `Write a number and a unit. ${unitsThatDo(kind)}`);
  refuseKnownMistakes(text);
  const sign = "+-−".includes(text[0]) ? text[0] : "";
  const parts = readParts(text.slice(sign.length), kind);
  if (sign && KINDS[kind].minimum >= 0) {
    refuse(sign === "+" ? "bad_number" : "out_of_range", "Write this without a sign.");
  }
  const less = sign === "" || sign === "+" ? 1 : -1;
  return parts.reduce((total, [number, symbol]) => total + canonical(less * number, symbol, kind), 0);
}

function refuseKnownMistakes(text) {
  for (const character of text) {
    if (!USUAL.test(character)) {
      const code = character.codePointAt(0).toString(16).toUpperCase().padStart(4, "0");
      refuse("bad_number", `The character U+${code} has no place in a quantity.`);
    }
  }
  const scientific = SCIENTIFIC.exec(text);
  if (scientific) {
    checkFinite(Number(scientific[1]));
    refuse("bad_number", "Write the number out, 1000 rather than 1e3.");
  }
  for (const [pattern, code, detail] of REFUSED) {
    if (pattern.test(text)) refuse(code, detail);
  }
}

function readParts(text, kind) {
  const parts = [];
  let wholeSoFar = true;
  PART.lastIndex = 0;
  while (PART.lastIndex < text.length || !parts.length) {
    const part = PART.exec(text);
    if (!part) refuse("bad_number", "Start with one number, such as 61, 0.24, 1/60 or 5 3/8.");
    const number = numberOf(part.groups);
    const symbol = unitOfPart(part, kind);
    if (parts.length) checkCompound(parts.at(-1)[1], symbol, kind, wholeSoFar);
    parts.push([number, symbol]);
    wholeSoFar = /^[0-9]+$/.test(part.groups.decimal ?? "");
  }
  return parts;
}

function numberOf({ whole, above, below, count, vulgar, decimal }) {
  if (decimal) return Number(decimal);
  if (!vulgar && Number(below) === 0) refuse("zero_denominator", "The lower number of a fraction cannot be 0.");
  const [over, under] = vulgar ? VULGAR[vulgar] : [Number(above), Number(below)];
  const units = Number(whole || count || 0);
  if ((whole || count) && over >= under) {
    refuse("bad_number", "After a whole number the fraction must be less than one, as in 5 3/8.");
  }
  return units + over / under;
}

function unitOfPart(part, kind) {
  const spelling = part.groups.unit;
  if (!spelling && PART.lastIndex === part.input.length) {
    refuse("unit_missing", `Write a unit after each number. ${unitsThatDo(kind)}`);
  }
  if (!spelling || "_.,:;/²³".includes(spelling[0])) {
    refuse("bad_number", "Write one number, such as 61, 0.24, 1/60 or 5 3/8, and then its unit.");
  }
  return unit(spelling, kind);
}

function checkCompound(before, symbol, kind, wholeSoFar) {
  if (kind !== "time") refuse("bad_compound", "Write one number and one unit; only a time may have several parts.");
  if (KINDS.time.units[symbol] >= KINDS.time.units[before]) {
    refuse("bad_compound", "Write the larger unit first and each unit once, as in 1 h 5 min.");
  }
  if (!wholeSoFar) refuse("bad_compound", "Only the last part of a time may have a fraction, as in 3 min 20.5 s.");
}

function readObject(data, kind) {
  for (const key of Object.keys(data)) {
    if (key !== "value" && key !== "unit") refuse("unknown_key", 'Only "value" and "unit" may stand here.');
  }
  for (const key of ["value", "unit"]) {
    if (!(key in data)) refuse("missing_key", `"${key}" is missing, as in {"value": 61, "unit": "mm"}.`);
  }
  const { value, unit: spelling } = data;
  if (typeof value !== "number" && typeof value !== "boolean") refuse("wrong_type", '"value" must be a number.');
  checkFinite(value);
  if (typeof spelling !== "string") refuse("wrong_type", `"unit" must be a text. ${unitsThatDo(kind)}`);
  if ([...spelling].length > MAX_LENGTH) refuse("too_long", `A unit has at most ${MAX_LENGTH} characters.`);
  if (!spelling) refuse("unit_missing", `"unit" is empty. ${unitsThatDo(kind)}`);
  const text = `${plainDigits(value)} ${spelling}`;
  const typed = [...text].length > MAX_LENGTH ? `${value} ${spelling}` : text;
  return [canonical(value, unit(spelling, kind), kind), typed];
}

function checkFinite(value) {
  if (typeof value === "boolean") refuse("boolean", "True and false are not quantities.");
  if (Number.isNaN(value)) refuse("not_a_number", "NaN is not a quantity: write a number and a unit.");
  if (!Number.isFinite(value)) refuse("not_finite", "This is larger than any number that can be kept.");
}

function unit(spelling, kind) {
  const symbol = BY_SPELLING.get(spelling) ?? BY_WORD.get(spelling.toLowerCase());
  if (symbol === undefined) refuse("unit_unknown", `“${spelling}” is not a unit known here. ${unitsThatDo(kind)}`);
  if (!Object.hasOwn(KINDS[kind].units, symbol)) {
    refuse("unit_wrong_kind", `“${spelling}” is not a unit of ${kind.replace("_", " ")}. ${unitsThatDo(kind)}`);
  }
  return symbol;
}

function canonical(number, symbol, kind) {
  const to = KINDS[kind].units[symbol];
  if (typeof to === "number") return number * to;
  if (symbol === "µm/px" && number === 0) refuse("out_of_range", `This cannot be 0 ${symbol}.`);
  return to(number);
}

function checkRange(value, kind, minimum, maximum, exclusiveMinimum) {
  const { canonical: symbol, minimum: least } = KINDS[kind];
  const say = (bound) => `${plainDigits(Number(bound.toPrecision(12)))} ${symbol}.`;
  if (value < least) refuse("out_of_range", `This cannot be less than ${say(least)}`);
  if (exclusiveMinimum && value <= minimum) refuse("out_of_range", `This must be more than ${say(minimum)}`);
  if (value < minimum) refuse("out_of_range", `This must be at least ${say(minimum)}`);
  if (value > maximum) refuse("out_of_range", `This must be at most ${say(maximum)}`);
}

function unitsThatDo(kind) {
  const symbols = Object.keys(KINDS[kind].units);
  const last = symbols.pop();
  return symbols.length ? `Units that do: ${symbols.join(", ")} or ${last}.` : `The unit that does: ${last}.`;
}

function refuse(code, detail) {
  throw new QuantityError(code, detail);
}
