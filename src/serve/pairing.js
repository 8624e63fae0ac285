// Pairs this device: the code in the address is then used up.
const button = document.getElementById("pair");
button.addEventListener("click", async () => {
  button.disabled = true;
  try {
    const response = await fetch("pair", { method: "POST", headers: { "content-type": "application/json" }, body: "{}" });
    if (!response.ok) throw new Error();
    location.replace((await response.json()).page);
  } catch {
    document.getElementById("said").textContent = "This code is no longer good. Ask for a new one on the computer.";
  }
});
