// Runs the judge under Brython, away from the page. JSON text in, JSON text out.
//
//   {boot: {brython, bundle}}                    -> {ready: true} or {error}
//   {sequence: key, document: JSON text}         keeps a sequence document for the questions that name it by `key`
//   {ask: n, fn: "view"|"check"|"sign", payload: JSON}  -> {ask: n, ms, out: JSON} or {ask: n, ms, error, input: true when the judge refused it}
//
// A payload holds the arguments of the function; its `sequence` is the key of a document kept before. `out` is the JSON
// text {"out": result}, `ms` how long that took. The state of a view comes without its entries.

const GLUE = `
from browser import self as scope
from javascript import JSON
from chairapp.judge.errors import InputError
from chairapp.sequence.check import check_entry
from chairapp.sequence.view import to_sign, view

sequences = {}


def seen(**given):
    """Without the entries, which the page has."""
    found = view(**given)
    del found["state"]["entries"]
    return found


FUNCTIONS = {"view": seen, "check": check_entry, "sign": to_sign}


def keep(key, text):
    sequences[key] = JSON.parse(text)


def ask(name, payload):
    given = JSON.parse(payload)
    given["sequence"] = sequences[given["sequence"]]
    try:
        return JSON.stringify({"out": FUNCTIONS[name](**given)})
    except InputError as error:
        return JSON.stringify({"refused": str(error)})


scope.keep_sequence = keep
scope.ask_judge = ask
`;

self.onmessage = ({ data }) => {
  if (data.boot) return answer({}, () => boot(data.boot));
  if (data.document !== undefined) return self.keep_sequence(data.sequence, data.document);
  return answer({ ask: data.ask }, () => asked(data.fn, data.payload));
};

function boot({ brython, bundle }) {
  // Brython names time zones in the browser's language as it starts, and stops where that is none, as WebKit's "C". The
  // judge knows no language.
  navigator.userLanguage = "en";
  importScripts(brython, bundle);
  takeShortWays(__BRYTHON__);
  __BRYTHON__.runPythonSource(GLUE, { name: "judge_worker" });
  return { ready: true };
}

/**
 * What the judge does most, without the detour for classes of one's own; a judged visit takes half as long.
 *
 * A walk over a dict ends in an exception, ten times as dear as the walk, where a list has a quick way. `in` a dict and
 * `==` of two texts look up methods first. A name of the module is looked for through its class, each time it is read.
 */
function takeShortWays(python) {
  const { FAST_ITER, builtins: { dict }, rich_comp: compare, $is_member: isMember, resolve_in_scopes: resolve } = python;
  dict[FAST_ITER] = (walked) => Array.from(dict.$iter_items(walked), ({ key }) => key)[Symbol.iterator]();
  python.$is_member = (item, where) => (
    python.get_class(where) === dict ? dict.$contains(where, item) : isMember(item, where)
  );
  python.rich_comp = (how, one, other) => (
    how === "__eq__" && typeof one === "string" && typeof other === "string" ? one === other : compare(how, one, other)
  );
  python.resolve_in_scopes = (name, scopes, at) => {
    for (const scope of scopes) {
      if (scope.$proxy || scope.ob_type || scope.$dict || scope === python.exec_scope) break;
      if (Object.hasOwn(scope, name)) return scope[name];
    }
    return resolve(name, scopes, at);
  };
}

function asked(fn, payload) {
  const began = performance.now(),
    answered = self.ask_judge(fn, payload),
    ms = performance.now() - began;
  const { refused } = answered.startsWith('{"refused"') ? JSON.parse(answered) : {};
  // The text between the braces of {"out": ...} is passed on unread: parsing it is the page's business.
  return refused ? { error: refused, input: true, ms } : { out: answered, ms };
}

function answer(about, work) {
  try {
    postMessage({ ...about, ...work() });
  } catch (error) {
    postMessage({ ...about, error: words(error) });
  }
}

function words(error) {
  const python = error?.__class__ ? `${error.__class__.__name__}: ${error.args}` : null;
  return String(python ?? error?.message ?? error);
}
