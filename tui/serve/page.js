// The page around the terminal: keys that a phone has not, its keyboard only when asked for, and coming back by itself.
"use strict";
const LEFT = 4000;
const AGAIN_MS = 2000;
const KEYS = { escape: "\x1b", tab: "\t", up: "\x1b[A", down: "\x1b[B", backspace: "\x7f", enter: "\r" };
let line = null;

// The token is worth nothing any more; it need not stay in the address.
history.replaceState(null, "", "/");

const Plain = window.WebSocket;
window.WebSocket = class extends Plain {
  constructor(url) {
    super(new URL(url, location.href.replace(/^http/, "ws")));
    line = this;
    this.addEventListener("close", (event) => dropped(event));
  }
};

function dropped(event) {
  const words = document.querySelector("#dropped");
  if (event.code === LEFT) {
    words.textContent = `${event.reason || "Left. The recorder goes on."} `;
    const back = document.createElement("button");
    back.textContent = "Back to it";
    back.onclick = () => location.reload();
    words.append(back);
    return;
  }
  words.textContent = "The line to the computer dropped. The recorder goes on; this page comes back by itself.";
  const again = async () => {
    try {
      const answer = await fetch("/", { cache: "no-store" });
      if (answer.ok) return location.reload();
      words.textContent = "The server was started anew: ask for a new link.";
    } catch {
      setTimeout(again, AGAIN_MS);
    }
  };
  setTimeout(again, AGAIN_MS);
}

function typesWith(keyboard) {
  const typed = document.querySelector(".xterm-helper-textarea");
  if (!typed) return;
  typed.inputMode = keyboard ? "text" : "none";
  document.querySelector("#keys").setAttribute("aria-pressed", String(keyboard));
  if (keyboard) typed.blur();
  typed.focus();
}

window.addEventListener("load", () => {
  const touch = matchMedia("(pointer: coarse)").matches;
  typesWith(!touch);
  for (const button of document.querySelectorAll("nav button[data-key]")) {
    button.onclick = () => {
      if (line && line.readyState === Plain.OPEN) line.send(JSON.stringify(["stdin", KEYS[button.dataset.key]]));
    };
  }
  const keys = document.querySelector("#keys");
  keys.onclick = () => typesWith(keys.getAttribute("aria-pressed") !== "true");
});
