// Keeping the page: installed where it is served, saved as a file anywhere. Comes before every other script, so that
// what is saved is the page as it came, without anything that was typed, chosen or answered.

const PAGE_SOURCE = `<!DOCTYPE html>\n${document.documentElement.outerHTML}\n`;
const PAGE_FILE = "lookup.html";
const INSTALLED = { manifest: "lookup.webmanifest", icon: "icon.svg", "apple-touch-icon": "icon-192.png" };
const FREE_AFTER_MS = 60_000; // the browser has taken the file by then

function savePage() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([PAGE_SOURCE], { type: "text/html" }));
  link.download = PAGE_FILE;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), FREE_AFTER_MS);
}

// Only `yardband serve` has these files; elsewhere nothing comes of asking. Browsers offer the worker in secure places
// alone: on this machine or over https.
function offerInstalling() {
  if (!["http:", "https:"].includes(location.protocol)) return;
  Object.entries(INSTALLED).forEach(([rel, href]) => {
    document.head.append(Object.assign(document.createElement("link"), { rel, href }));
  });
  navigator.serviceWorker?.register("lookup_worker.js", { scope: PAGE_FILE }).catch(() => {});
}

// The academy's page lies beside this one where a run wrote it and where this machine serves both; a phone that was given
// this page alone has no use for the link.
function offerAcademy() {
  const isOfTheRun = location.protocol === "file:" && location.pathname.endsWith("/report/lookup.html");
  document.getElementById("academy-link").hidden = !(isOfTheRun || ["localhost", "127.0.0.1", "[::1]"].includes(location.hostname));
}

offerInstalling();
offerAcademy();
