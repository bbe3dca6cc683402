"""Files and folders as things that several runs share: what was read, who writes, what a power cut may leave."""
