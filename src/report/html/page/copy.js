// Copying what stands in the page.

// The clipboard may be closed to a page from a file; then the command is selected.
async function copyText(command, code, said) {
  try {
    await navigator.clipboard.writeText(command);
    said.textContent = "copied";
  } catch {
    getSelection().selectAllChildren(code);
    said.textContent = "selected; copy it with the keyboard";
  }
}
