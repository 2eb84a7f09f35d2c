// What is kept of a PIN on the tablet: PBKDF2-SHA-256 over it, slow enough that a stolen tablet tries few of them.
// Number of rounds: OWASP's advice for PBKDF2-HMAC-SHA-256 (600,000).

const ROUNDS = 600000;
const BITS = 256;

/** {salt, rounds, verifier} of this PIN, with a salt of its own. */
export async function verifierOf(pin) {
  const salt = crypto.getRandomValues(new Uint8Array(16));
  return { salt, rounds: ROUNDS, verifier: await stretched(pin, salt, ROUNDS) };
}

/** Whether this is the PIN of which {salt, rounds, verifier} was kept. */
export async function matches(pin, { salt, rounds, verifier }) {
  const given = await stretched(pin, salt, rounds);
  return given.reduce((differs, byte, at) => differs | (byte ^ verifier[at]), 0) === 0;
}

async function stretched(pin, salt, iterations) {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
  return new Uint8Array(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations }, key, BITS));
}
