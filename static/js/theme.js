// Changes between light and dark at once; the cookie is what the server reads on the next page.
const YEAR_S = 31536000;

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-theme-choice]");
  if (!form || !event.submitter) return;
  event.preventDefault();
  const theme = event.submitter.value;
  const secure = location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `theme=${theme}; path=/; max-age=${theme ? YEAR_S : 0}; SameSite=Lax${secure}`;
  if (theme) document.documentElement.dataset.theme = theme;
  else delete document.documentElement.dataset.theme;
  for (const button of form.querySelectorAll("button")) {
    button.setAttribute("aria-pressed", String(button === event.submitter));
  }
});
