"""Work in processes: several at once (`parallel`), under limits (`allowance`, `worker`), in a Python that nothing else
gets into (`isolation`); what their memory asks for (`memory`), and how they end when they do not end well (`failures`).
"""
