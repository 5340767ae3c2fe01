// The grammar of our codes, as label_templates/codes.py has it: shape, alphabet, and the check character of ISO 7064 MOD 37-2.
const ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const LONGEST = 20;
const SITE = "[A-Z0-9]{2}";
const BODIES = {
  S: `S-${SITE}-\\d{4}`,
  P: `P-${SITE}-\\d{4}-\\d{4}`,
  L: `L-${SITE}-[1-9A-Z]-\\d{4}`,
  W: `W-${SITE}-[1-9A-Z]-\\d{4}`,
  B: `B-${SITE}-\\d{3}`,
  H: `H-${SITE}-\\d{3}`,
  A: `A-${SITE}-\\d{6}`,
  C: `C-${SITE}-\\d{4,6}`,
  I: `I-${SITE}-\\d{5}`,
  K: "K-[A-Z0-9]{1,10}",
};
const SHAPES = Object.fromEntries(Object.entries(BODIES).map(([letter, body]) => [letter, new RegExp(`^(${body})-([0-9A-Z*])$`)]));

/** The check character of a body of letters, digits and hyphens; hyphens do not count. */
export function checkCharacter(body) {
  let product = 0;
  for (const letter of body.replaceAll("-", "")) product = (product + ALPHABET.indexOf(letter)) * 2 % 37;
  return ALPHABET[(38 - product) % 37];
}

/** What is wrong with a text: `fault` is null, "shape", "alphabet" or "check"; `should` is the check character that fits. */
export function look(text) {
  const length = [...text].length;
  if (!length || length > LONGEST) return { fault: "shape" };
  if (/[^0-9A-Z*-]/.test(text)) return { fault: "alphabet" };
  const match = SHAPES[text[0]]?.exec(text);
  if (!match) return { fault: "shape" };
  const should = checkCharacter(match[1]);
  if (match[2] !== should) return { fault: "check", should };
  return text[0] === "P" && text.slice(10, 14) === "0000" ? { fault: "shape" } : { fault: null, should };
}

/** Whether a text is one of our codes, or a wristband of the practice's own `pattern`. */
export function isOurs(text, pattern = "") {
  return look(text).fault === null || isWristband(text, pattern);
}

export function isWristband(text, pattern) {
  if (!pattern) return false;
  try {
    return new RegExp(`^(?:${pattern})$`).test(text);
  } catch {
    return false; // a pattern only the service understands: such wristbands are scanned by hand scanner
  }
}
