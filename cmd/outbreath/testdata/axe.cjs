// Judges a page with axe-core in jsdom, and prints each violation that is
// serious or worse, and how many rules held. Contrast needs a browser.
const fs = require('node:fs')
const { JSDOM } = require('jsdom')
const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8')

const dom = new JSDOM(fs.readFileSync(process.argv[2], 'utf8'), { runScripts: 'outside-only', pretendToBeVisual: true })
dom.window.eval(axe)
dom.window.axe.run(dom.window.document, { rules: { 'color-contrast': { enabled: false } } }).then(found => {
  for (const v of found.violations) {
    if (v.impact === 'serious' || v.impact === 'critical') console.log('violation', v.id, v.nodes.length)
  }
  console.log('held', found.passes.length)
  process.exit(0)
})
