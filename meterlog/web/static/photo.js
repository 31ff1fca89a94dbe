// Sends a photograph made smaller: drawn anew, so that place, time and camera stay behind.
const LONGEST = 2000; // pixels of its longer side

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const part = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const sheet = document.createElement("canvas");
  sheet.width = Math.round(picture.width * part);
  sheet.height = Math.round(picture.height * part);
  sheet.getContext("2d").drawImage(picture, 0, 0, sheet.width, sheet.height);
  return new Promise((done) => sheet.toBlob(done, "image/jpeg", 0.85));
}

async function send(form) {
  const body = await smaller(form.elements.file.files[0]).catch(() => null);
  if (!body) return { error: "This picture could not be read: choose a JPEG, PNG or WebP." };
  const headers = { accept: "application/json", "x-csrftoken": form.elements.csrftoken.value, "content-type": body.type };
  const where = `${form.getAttribute("action")}?name=${encodeURIComponent(form.elements.name.value)}`;
  try { return await (await fetch(where, { method: "POST", body, headers })).json(); }
  catch { return { error: "No answer came: look at the job's page whether it was kept." }; }
}

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form[data-photo]");
  if (!form) return;
  event.preventDefault();
  const [button, answer] = [form.querySelector("button"), form.querySelector(".said")];
  button.disabled = true;
  answer.textContent = "Sending …";
  const { ok, error } = await send(form);
  answer.textContent = ok ? "Kept with the job." : error;
  button.disabled = false;
  if (!ok) return;
  form.reset();
  if (form.dataset.photo === "reload") location.reload();
});
