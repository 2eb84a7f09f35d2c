// Box codes, the twin of chairapp/box/code.py: tablet letter, six random characters, ISO/IEC 7064 MOD 37-2.
export const ALPHABET = "23456789CDFGHJKMNPQRTVWXY";
const ISO_7064 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const RANDOM = 6;

/** A fresh code of the tablet with this letter. Drawn again while the check character falls outside the alphabet. */
export function newCode(letter, choose = pick) {
  for (;;) {
    const body = letter + Array.from({ length: RANDOM }, choose).join("");
    const check = checkCharacter(body);
    if (ALPHABET.includes(check)) return body + check;
  }
}

/** The character that completes `body`: a digit, a letter or `*`. */
export const checkCharacter = (body) => ISO_7064[(((1 - 2 * weighed(body)) % 37) + 37) % 37];

/** Whether `text` is a code as kept in data. */
export const isCode = (text) =>
  text.length === RANDOM + 2 && [...text].every((c) => ALPHABET.includes(c)) && weighed(text) === 1;

/** As printed and read aloud: `7KQ4-M2X9`. */
export const shownCode = (code) => `${code.slice(0, 4)}-${code.slice(4)}`;

const weighed = (text) => [...text].reduce((total, c) => (2 * total + ISO_7064.indexOf(c)) % 37, 0);

// 250 is the largest multiple of 25 a byte can hold: bytes above are drawn again, so that every character is equally
// likely.
function pick() {
  for (;;) {
    const [byte] = crypto.getRandomValues(new Uint8Array(1));
    if (byte < 250) return ALPHABET[byte % ALPHABET.length];
  }
}
