const choices = new Map(Object.entries(JSON.parse(document.getElementById("decided").textContent)));
const fresh = new Map();

function show() {
  for (const button of document.querySelectorAll("button[data-picture]")) {
    const { picture, patch, choice } = button.dataset;
    const key = picture + "|" + patch;
    button.classList.toggle("chosen", (fresh.get(key) ?? choices.get(key)) === choice);
  }
  const count = document.getElementById("count");
  count.textContent = fresh.size ? `${fresh.size} new decisions, not saved yet.` : "No new decisions.";
  document.getElementById("save").disabled = fresh.size === 0;
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-picture]");
  if (!button) return;
  const { picture, patch, choice } = button.dataset;
  const key = picture + "|" + patch;
  const now = fresh.get(key) ?? choices.get(key);
  if (now === choice && fresh.has(key)) fresh.delete(key);
  else fresh.set(key, now === choice ? "clear" : choice);
  show();
});

document.getElementById("save").addEventListener("click", () => {
  const at = new Date().toISOString();
  const rows = [...fresh].map(([key, choice]) => [...key.split("|"), choice, "contact sheet", at, ""].join(","));
  const text = ["picture_sha256,patch,decision,by,at,picture", ...rows].join("\n") + "\n";
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = "photo-decisions.csv";
  link.click();
});

show();
