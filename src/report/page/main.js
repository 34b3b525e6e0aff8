// Which page this is follows from the result itself.
function paletteButton() {
  const button = byId("palette"), palette = window.polewrightPalette;
  const tell = () => {
    const night = palette.current() === "night";
    button.setAttribute("aria-pressed", String(night));
    recolourCharts();
  };
  button.addEventListener("click", () => {
    palette.choose(palette.current() === "night" ? "day" : "night");
    tell();
  });
  tell();
}

function everythingSection(text, result) {
  byId("version").textContent = result.program.version;
  byId("save-json").addEventListener("click", () => save(`${result.schema.split("/").slice(0, 2).join("-")}.json`, text, "application/json"));
  const details = byId("json-text").closest("details");
  details.addEventListener("toggle", () => {
    if (details.open) byId("json-text").textContent = text;  // only when wanted: it doubles the page in memory
  });
}

const text = byId("result").textContent.trim() + "\n";
const result = JSON.parse(text), evidence = JSON.parse(byId("evidence").textContent);
const pages = { "polewright/align/1": alignPage, "polewright/inspect/1": inspectPage, "polewright/check/1": checkPage };
try {
  pages[result.schema](result, evidence);
} catch (error) {
  byId("plain").closest("details").open = true;  // whatever happens, the words are there
  throw error;
} finally {
  everythingSection(text, result);
  paletteButton();
}
