// When a send fails: the form stays as it was typed, and a line beside it says the cause and the way out.
document.addEventListener("htmx:responseError", ({ detail }) => tell(detail.elt, cause(detail.xhr)));
document.addEventListener("htmx:sendError", ({ detail }) =>
  tell(detail.elt, isQuestion(detail)
    ? "Not found out: the server can't be reached. Ask again when the connection is back."
    : "Not saved: the server can't be reached. What you typed is still here; send it again when the connection is back."));
document.addEventListener("htmx:timeout", ({ detail }) =>
  tell(detail.elt, isQuestion(detail)
    ? "Not found out yet: no answer came. Ask again."
    : "Not saved yet: no answer came. What you typed is still here; send it again."));
document.addEventListener("htmx:beforeRequest", ({ detail }) => place(detail.elt)?.querySelector(".note[data-failed]")?.remove());

function isQuestion(detail) {
  return detail.requestConfig?.verb === "get";
}

function cause(xhr) {
  const words = new DOMParser().parseFromString(xhr.responseText, "text/html").querySelector("[data-cause]");
  const text = words ? words.textContent.trim().replace(/\s+/g, " ") : `The server answered ${xhr.status}.`;
  return `Not done: ${text}`;
}

function place(element) {
  return element.closest("form, .sec") ?? document.getElementById("main");
}

function tell(element, text) {
  const where = place(element);
  where.querySelector(".note[data-failed]")?.remove();
  const note = document.createElement("p");
  note.className = "note";
  note.dataset.state = "failed";
  note.dataset.failed = "";
  note.setAttribute("role", "alert");
  note.textContent = text;
  where.prepend(note);
}
