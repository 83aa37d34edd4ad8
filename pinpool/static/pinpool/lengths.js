// Lengths as one person writes and reads them.

/** `text`, with the unit put behind it where it is a bare number, fraction or mixed number. */
export function withUnit(text, unit) {
  const bare = /^\s*(\d+(\.\d*)?|\.\d+|\d+\s*\/\s*\d+|\d+\s+\d+\s*\/\s*\d+|\d*\s*[¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞])\s*$/
  return bare.test(text) ? `${text.trim()} ${unit}` : text
}

/** A length in mm for reading: “61.0 mm”, or “2.402 in”. */
export function sayLength(mm, lengths, digits = 1) {
  return lengths === "in" ? `${(mm / 25.4).toFixed(digits + 2)} in` : `${mm.toFixed(digits)} mm`
}
