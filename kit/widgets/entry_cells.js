// The cells of the table that is typed into at the bench, and what stands under its rows. They read no numbers
// themselves. This file and entry_table.js are one module.

const ANSWER_WITHIN_MS = 8000
const LOST = [
  'NOT RECORDED: the kernel does not answer',
  'NOT RECORDED: the kernel does not answer. It may be busy or stopped. What was typed is kept on this page only; when ' +
    'the kernel runs again, run this cell of the notebook again and look at what is recorded.',
]
const GONE = [
  'NOT RECORDED: not connected, run the cell again',
  'The kernel was stopped or started again: this table is no longer connected, and nothing typed here is recorded. Run ' +
    'this cell of the notebook again; it is built anew from the lab book.',
]

function make(tag, name = '', text = '') {
  const element = document.createElement(tag)
  if (name) element.className = name
  if (text) element.textContent = text
  return element
}

function line(tag, buttons) {
  const element = make(tag, 'buttons')
  element.append(...buttons)
  return element
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text
  element.hidden = text === ''
}

// One input with its small line. `base` is the text the form holds; `number` that of the message that waits.
class Field {
  constructor(table, row, column, td) {
    Object.assign(this, { table, row, column, td, base: '', number: 0, timer: 0, lost: null })
    this.input = make('input')
    this.small = make('span', 'small')
    this.small.id = `${table.id}-${table.fields.size}-small`
    Object.assign(this.input, { type: 'text', autocomplete: 'off', spellcheck: false })
    this.input.setAttribute('autocapitalize', 'off')
    this.input.setAttribute('aria-describedby', `${this.small.id} ${table.belowId(row)}`)
    for (const name of ['keydown', 'change', 'paste']) this.input.addEventListener(name, (event) => this[name](event))
    td.append(this.input, this.small)
  }

  get typed() {
    return this.input.value.trim()
  }

  show(cell) {
    this.cell = cell
    this.input.inputMode = cell.decimal ? 'decimal' : 'text'
    this.input.setAttribute('aria-label', cell.label)
    this.offer(cell.options)
    const untouched = this.input.value === this.base
    this.base = cell.text
    if (this.number || this.lost) return // what is typed is on its way, or lost it: an answer decides
    if (untouched || this.answered) this.input.value = cell.text
    this.answered = false
    this.mark(cell.state, cell.small)
  }

  offer(words) {
    if (!words.length) return
    if (!this.list) {
      this.list = Object.assign(make('datalist'), { id: `${this.small.id}-list` })
      this.input.setAttribute('list', this.list.id)
      this.td.append(this.list)
    }
    this.list.replaceChildren(...words.map((value) => Object.assign(make('option'), { value })))
  }

  carry(old) {
    clearTimeout(old.timer)
    if (!old.number && !old.lost && old.input.value === old.base) return
    Object.assign(this, { number: old.number, sent: old.sent, lost: old.lost })
    this.input.value = old.input.value
    if (this.lost) this.mark('lost', this.lost[0])
    if (this.number) this.wait()
  }

  wait() {
    this.mark('waiting', 'not recorded yet ...')
    this.timer = setTimeout(() => this.lose(LOST), ANSWER_WITHIN_MS)
  }

  mark(state, words) {
    this.td.dataset.state = state
    this.input.setAttribute('aria-invalid', String(state === 'refused' || state === 'asks' || state === 'lost'))
    setText(this.small, words)
  }

  keydown(event) {
    if (event.isComposing) return
    if (event.key === 'Enter') {
      event.preventDefault()
      this.change()
      this.table.step(this, event.shiftKey ? -1 : 1)
    } else if (event.key === 'Escape') {
      this.input.value = this.base
    }
  }

  change() {
    if (!this.td.isConnected) return // a table drawn anew took its place
    const known = this.number ? this.sent : this.base // Enter is followed by a change
    if (this.typed !== known || this.lost) this.send(this.typed)
  }

  send(text, choice = '', why = '', column = this.column) {
    clearTimeout(this.timer)
    this.lost = null
    this.pressed = column !== this.column // a button of the row: the text of this cell is not what was sent
    this.number = this.table.send({ row: this.row, column, text, choice, why }, this)
    if (this.table.gone) this.lose(GONE)
    else this.wait()
  }

  lose(words) {
    clearTimeout(this.timer)
    this.lost = words
    this.mark('lost', words[0])
    this.table.say(words[1], 'lost')
  }

  answer(number) {
    if (number !== this.number) return // a later text of this cell is on its way
    clearTimeout(this.timer)
    this.answered = this.pressed || this.input.value.trim() === this.sent
    Object.assign(this, { number: 0, lost: null })
    this.show(this.cell)
  }

  paste(event) {
    const lines = event.clipboardData.getData('text').replace(/\r/g, '').replace(/\n+$/, '').split('\n')
    if (lines.length < 2) return
    event.preventDefault()
    let [field, left] = [this, lines.length]
    for (const line of lines) {
      if (!field) break
      const text = line.split('\t')[0].trim()
      if (text) {
        field.input.value = text
        field.change()
      }
      left -= 1
      field = this.table.neighbour(field, 1)
    }
    if (left) this.table.say(`${left} pasted lines found no row and were left out`, 'refused')
  }
}

// What stands under a row: remarks, buttons, and the question that is open.
class Below {
  constructor(table, row, td) {
    Object.assign(this, { table, row, td, shown: '' })
  }

  show(row) {
    this.td.parentElement.hidden = !(row.remarks.length || row.actions.length || row.ask)
    const shown = JSON.stringify([row.remarks, row.actions, row.ask, row.asked])
    if (shown === this.shown) return
    const inside = this.td.contains(document.activeElement)
    this.shown = shown
    this.td.replaceChildren()
    for (const remark of row.remarks) {
      this.td.append(make('p', 'remark', remark.words))
      this.td.lastChild.dataset.tone = remark.tone
    }
    const press = (column) => () => this.fieldOf(column).send('', '', '', column)
    const actions = row.actions.map((action) => this.button(action.words, press(action.column)))
    if (row.ask) this.td.append(this.question(row))
    else if (actions.length) this.td.append(line('p', actions))
    if (inside) this.table.last(this.row)?.input.focus()
  }

  button(words, press) {
    const button = Object.assign(make('button', '', words), { type: 'button' })
    button.dataset.lmSuppressShortcuts = 'true' // JupyterLab takes Enter on a button for itself
    button.addEventListener('click', press)
    return button
  }

  question(row) {
    const [[column, text], box] = [row.asked, make('div', 'ask')]
    box.setAttribute('role', 'group')
    box.setAttribute('aria-label', row.ask.question)
    box.append(make('p', 'remark', row.ask.question))
    const why = Object.assign(make('input'), { type: 'text', autocomplete: 'off' })
    if (row.ask.choices.some((choice) => choice.why)) {
      const label = make('label', 'why', 'reason')
      label.append(why)
      box.append(label, line('div', row.ask.reasons.map((reason) => this.button(reason, () => (why.value = reason)))))
    }
    const choices = row.ask.choices.map((choice) => {
      const button = this.button(choice.words, () => this.choose(choice, column, text, why))
      if (choice.key !== 'cancel') button.className = 'main'
      return button
    })
    box.append(line('div', choices))
    return box
  }

  choose(choice, column, text, why) {
    if (choice.why && !why.value.trim()) {
      why.setAttribute('aria-invalid', 'true')
      why.focus()
      return this.table.say('NOT RECORDED: a reason is needed', 'refused')
    }
    this.fieldOf(column).send(text, choice.key, why.value.trim(), column)
  }

  // What sends for a row that has nothing to type into.
  unseen() {
    const field = new Field(this.table, this.row, '', make('td'))
    field.cell = { text: '', small: '', label: '', state: '', options: [] }
    this.table.fields.set(keyOf(this.row, ''), field)
    return field
  }

  fieldOf(column) {
    return this.table.find(this.row, column) || this.table.last(this.row) || this.unseen()
  }
}
