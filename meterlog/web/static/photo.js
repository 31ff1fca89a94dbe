// Sends a photograph made smaller: drawn anew, so that place, time and camera stay behind.
const LONGEST = 2000; // pixels of its longer side
const form = document.querySelector("form[data-photo]");
const answer = form?.querySelector(".answer");

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const part = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const sheet = document.createElement("canvas");
  sheet.width = Math.round(picture.width * part);
  sheet.height = Math.round(picture.height * part);
  sheet.getContext("2d").drawImage(picture, 0, 0, sheet.width, sheet.height);
  return new Promise((done) => sheet.toBlob(done, "image/jpeg", 0.85));
}

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  answer.textContent = "Sending …";
  try {
    const body = await smaller(form.elements.file.files[0]);
    const headers = { accept: "application/json", "x-csrftoken": form.elements.csrftoken.value, "content-type": body.type };
    const where = `${form.getAttribute("action")}?name=${encodeURIComponent(form.elements.name.value)}`;
    const { ok, error } = await (await fetch(where, { method: "POST", body, headers })).json();
    if (ok) location.reload();
    else answer.textContent = error;
  } catch {
    answer.textContent = "This picture could not be read or sent.";
  }
  button.disabled = false;
});
