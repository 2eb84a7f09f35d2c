// This page never talks to the node's socket: give NiceGUI one that is connected and says nothing. Without the handshake
// after "connect" every tap on an element with a listener would start an endless timer; a real socket behind a page kept
// on the tablet makes it reload again and again.
window.io = () => {
  const socket = {
    connected: true,
    io: { on() {}, opts: {}, engine: { transport: {} } },
    on(name, heard) {
      if (name === "connect") queueMicrotask(heard);
      return socket;
    },
    emit: () => socket,
    connect: () => socket,
    disconnect: () => socket,
  };
  return socket;
};

// A browser that lets a page keep nothing refuses even this, and then NiceGUI's page would stay blank: ours has to come
// up to say so. It serves until the page is left.
try {
  window.sessionStorage.getItem("");
} catch {
  class UntilLeft {
    getItem(name) { return this[name] ?? null; }
    setItem(name, value) { this[name] = String(value); }
    removeItem(name) { delete this[name]; }
  }
  Object.defineProperty(window, "sessionStorage", { value: new UntilLeft() });
}
