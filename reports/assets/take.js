'use strict';
// Rows of text taken away from a page, as a file or to the clipboard. A cell that a spreadsheet would
// run as a formula gets an apostrophe in front; a plain number stays one.
const inert = text => /^\s*[=+\-@\t\r\uFF1D\uFF0B\uFF0D\uFF20]/.test(text) && !/^[+-]?[\d.,]+$/.test(text) ? "'" + text : text;
const quoted = text => /[",\r\n]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
// What happened, in words; without leave to use the clipboard the element `shown` is selected instead.
async function copied(rows, shown) {
  try {
    await navigator.clipboard.writeText(rows.map(row => row.map(inert).join('\t')).join('\n'));
  } catch {
    getSelection().selectAllChildren(shown);
    if (!document.execCommand('copy')) return 'Select and copy by hand';
    getSelection().removeAllRanges();
  }
  return 'Copied';
}
function saved(rows, name) {
  const text = rows.map(row => row.map(cell => quoted(inert(cell))).join(',')).join('\r\n');
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob(['\ufeff' + text + '\r\n'], {type: 'text/csv'}));
  link.download = name.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '').slice(0, 60) + '.csv';
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}
