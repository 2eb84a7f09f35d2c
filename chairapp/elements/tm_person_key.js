// A person's own key on this tablet, and what it signs. The private half cannot be read out, not even by this page.
import { canonical } from "tm_replica";

const CURVE = { name: "ECDSA", namedCurve: "P-256" };
const SIGNED = ["role", "covers", "digest", "verdicts", "judge"];

/** {key, jwk, thumbprint}: the private key, the public one, and the name of both (RFC 7638). */
export async function newKey() {
  const { privateKey, publicKey } = await crypto.subtle.generateKey(CURVE, false, ["sign"]);
  const { kty, crv, x, y } = await crypto.subtle.exportKey("jwk", publicKey);
  const jwk = { kty, crv, x, y };
  const thumbprint = base64url(await crypto.subtle.digest("SHA-256", bytes(canonical(jwk))));
  return { key: privateKey, jwk, thumbprint };
}

/** What a signature entry carries of its proof, {key, proof}. `value` is all the signature says besides. */
export async function prove({ key, thumbprint }, visit, author, value) {
  const said = Object.fromEntries(SIGNED.map((name) => [name, value[name]]));
  const text = bytes(canonical({ visit, author, ...said }));
  const proof = await crypto.subtle.sign({ name: "ECDSA", hash: "SHA-256" }, key, text);
  return { key: thumbprint, proof: base64url(proof) };
}

const bytes = (text) => new TextEncoder().encode(text);

function base64url(buffer) {
  const text = btoa(String.fromCharCode(...new Uint8Array(buffer)));
  return text.replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}
