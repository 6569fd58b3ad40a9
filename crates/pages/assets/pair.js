// Lets this device in, by the code that the computer shows.

const said = document.getElementById("said");
document.getElementById("pair").addEventListener("submit", async (submitted) => {
  submitted.preventDefault();
  const response = await fetch("/pair", {
    method: "POST",
    headers: { "content-type": "application/json", "x-floorwright": "1" },
    body: JSON.stringify({ code: document.getElementById("code").value }),
  }).catch(() => null);
  if (response?.ok) location.href = "/";
  else said.textContent = response ? await response.text() : "The computer is out of reach.";
});
