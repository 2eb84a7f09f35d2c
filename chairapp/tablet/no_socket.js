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
