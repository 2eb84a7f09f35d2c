/**
 * What a person is told when something cannot be done: `field` (may be ""), `why`, `do`, each one sentence. `code` is
 *
 *   envelope      what was given cannot be an entry
 *   not_paired    no token is held yet
 *   storage       this tablet could not keep it
 *   unreachable   no node answered; `late` says that it did not in time
 *   refused       the node said no; `status` is its HTTP answer
 *   blob          bytes that cannot be kept as an attachment, or that are not to be had
 *   insecure      the page was not loaded over https or from this machine
 */
export class ReplicaError extends Error {
  constructor(code, { field = "", why, do: advice, status = 0, late = false }) {
    super(advice ? `${why} ${advice}` : why);
    this.name = "ReplicaError";
    Object.assign(this, { code, field, why, do: advice ?? "", status, late });
  }
}
