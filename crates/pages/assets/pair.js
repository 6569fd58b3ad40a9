// Lets this device in, by the code that the computer shows.

const said = document.getElementById("said");
const code = document.getElementById("code");

// The camera read the code with the address: it does not stay there.
const shown = /^#(\d{7})$/.exec(location.hash)?.[1];
if (shown) {
  code.value = shown;
  history.replaceState(null, "", "/pair");
}

document.getElementById("pair").addEventListener("submit", async (submitted) => {
  submitted.preventDefault();
  const response = await fetch("/pair", {
    method: "POST",
    headers: { "content-type": "application/json", "x-floorwright": "1" },
    body: JSON.stringify({ code: code.value, name: document.getElementById("name").value }),
  }).catch(() => null);
  if (response?.ok) location.href = "/";
  else said.textContent = response ? await response.text() : "The computer is out of reach.";
});
