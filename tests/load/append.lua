-- Each request appends one entry of its own to the log of a block of its own.
local thread_number = 0
function setup(thread)
  thread:set("number", thread_number)
  thread_number = thread_number + 1
end
local count = 0
function request()
  count = count + 1
  local id = string.format("n-%d-%d-%d", number, os.time(), count)
  local block = (number * 31 + count) % 1000
  local body = '{"id":"' .. id .. '","kind":"note","at":"2013-05-01T06:00:00Z","text":"mown"}'
  return wrk.format("POST", "/api/v1/blocks/block-" .. block .. "/seasons/2013/log",
    {["Content-Type"] = "application/json", ["Authorization"] = wrk.headers["Authorization"]}, body)
end
